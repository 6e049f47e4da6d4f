"""Master boot records: UEFI 2.10 §5.2, and the chain of extended boot records as Linux reads it.

The disk's first 512 bytes: code, u32 disk signature at 440, four entries of 16 bytes at 446 (status, CHS
start, type, CHS end, u32 first LBA, u32 count), 0x55 0xAA at 510. An extended partition begins with a record
of the same shape: its first entry is a logical partition relative to that record, its extended entry links
the next record, relative to the extended partition. LBAs and counts are in logical blocks.
"""

import struct
from dataclasses import dataclass, field
from itertools import pairwise

from . import FormatError
from .problems import bounded
from .reader import Reader, Source

_ENTRY = struct.Struct("<BxxxBxxxII")
_SIGNATURE = struct.Struct("<I")
_SIZE = 512
_ENTRIES_AT = 446
_DISK_SIGNATURE_AT = 440
_MARK = b"\x55\xaa"
_EXTENDED = frozenset({0x05, 0x0F, 0x85})
_PROTECTIVE = 0xEE
_FIRST_LOGICAL = 5
_MAX_BLOCK_SIZE = 1 << 16
MAX_RECORDS = 256


@dataclass(frozen=True, slots=True)
class Partition:
    """One entry in use. `number` as Linux numbers it: 1 to 4 by place, logical partitions from 5 on."""

    number: int
    type: int
    first_lba: int
    count: int
    active: bool

    @property
    def last_lba(self) -> int:
        """Inclusive, as in a GUID partition table."""
        return self.first_lba + self.count - 1


@dataclass(frozen=True, slots=True)
class PartitionTable:
    """A disk's MBR. `signature` is the disk signature as Linux spells it: eight lower-case hex digits."""

    signature: str
    partitions: tuple[Partition, ...]
    block_size: int
    problems: list[str] = field(default_factory=list)

    @property
    def is_protective(self) -> bool:
        """An entry of type 0xEE says that the disk has a GUID partition table (perhaps beside others:
        hybrid).
        """
        return any(part.type == _PROTECTIVE for part in self.partitions)

    @property
    def is_hybrid(self) -> bool:
        """Whether a protective record lists other partitions too."""
        return self.is_protective and any(part.type != _PROTECTIVE for part in self.partitions)

    @classmethod
    def read(cls, reader: Reader, block_size: int) -> "PartitionTable":
        """Read the table of a whole disk. FormatError when there is none; OSError passes through.

        >>> import io
        >>> esp = bytes.fromhex("80000000 ef000000 00080000 00100000")
        >>> disk = bytes(440) + bytes.fromhex("fecaad0b0000") + esp + bytes(48) + b"\\x55\\xaa"
        >>> disk += bytes(4 << 20)
        >>> table = PartitionTable.read(io.BytesIO(disk), 512)
        >>> table.signature, table.partitions
        ('0badcafe', (Partition(number=1, type=239, first_lba=2048, count=4096, active=True),))
        """
        if not 0 < block_size <= _MAX_BLOCK_SIZE:
            raise FormatError(f"{block_size} is no block size of a disk")
        source = Source(reader)
        record = source.read(0, max(block_size, _SIZE))
        if not _is_record(record):
            raise FormatError("no MBR partition table: the first block does not end in 55 AA")
        entries = _entries(record)
        if any(status not in (0x00, 0x80) for status, *_ in entries) or _is_bare_volume(record, entries):
            raise FormatError("no MBR partition table: the first block is a boot sector without one")
        problems: list[str] = []
        found = [
            Partition(number, kind, first, count, status == 0x80)
            for number, (status, kind, first, count) in enumerate(entries, 1)
            if kind and count
        ]
        blocks = source.size // block_size
        problems += _check(found, blocks)
        for part in tuple(found):
            if part.type in _EXTENDED:
                number = max(_FIRST_LOGICAL, found[-1].number + 1)
                logical = _logical(source, block_size, part, number, problems)
                problems += _check(logical, blocks, part)
                found += logical
        (signature,) = _SIGNATURE.unpack_from(record, _DISK_SIGNATURE_AT)
        return cls(f"{signature:08x}", tuple(found), block_size, bounded(problems))


def protection(record: bytes) -> str:
    """What a disk's first block says of a GUID partition table beside it (UEFI 2.10 §5.2.3).

    "protective" or "hybrid" where one of its four entries is of type 0xEE and begins at LBA 1, as firmware
    and Linux demand; "missing" otherwise.
    """
    if not _is_record(record):
        return "missing"
    used = [(kind, first) for _, kind, first, _ in _entries(record) if kind]
    if (_PROTECTIVE, 1) not in used:
        return "missing"
    return "protective" if len(used) == 1 else "hybrid"


def _is_record(record: bytes) -> bool:
    return len(record) >= _SIZE and record[510:512] == _MARK


def _entries(record: bytes) -> list[tuple[int, int, int, int]]:
    """The four entries: status, type, first LBA, count."""
    return [_ENTRY.unpack_from(record, _ENTRIES_AT + index * _ENTRY.size) for index in range(4)]


def _is_bare_volume(record: bytes, entries: list[tuple[int, int, int, int]]) -> bool:
    """A FAT boot sector bears the same mark; without any entry it is a disk without a table."""
    unused = not any(kind and count for _, kind, _, count in entries)
    reserved, fats, media = record[14] | record[15], record[16], record[21]
    return unused and bool(reserved) and fats in (1, 2) and (media == 0xF0 or media >= 0xF8)


def _logical(
    source: Source, block_size: int, extended: Partition, number: int, problems: list[str]
) -> list[Partition]:
    """Follow one chain of extended boot records; stops at damage and says so."""
    found: list[Partition] = []
    seen: set[int] = set()
    lba: int | None = extended.first_lba
    while lba is not None:
        where = f"extended boot record at LBA {lba}"
        if lba in seen or len(seen) >= MAX_RECORDS:
            problems.append(f"{where}: {'links back to itself' if lba in seen else 'the chain is too long'}")
            break
        seen.add(lba)
        record = source.read(lba * block_size, max(block_size, _SIZE))
        if not _is_record(record):
            problems.append(f"{where}: does not end in 55 AA")
            break
        entries = _entries(record)
        for status, kind, first, count in entries:
            if kind and count and kind not in _EXTENDED:
                found.append(Partition(number + len(found), kind, lba + first, count, status == 0x80))
        links = [first for _, kind, first, count in entries if kind in _EXTENDED and count]
        lba = extended.first_lba + links[0] if links else None
    return found


def _check(partitions: list[Partition], blocks: int, extended: Partition | None = None) -> list[str]:
    """What does not fit about partitions side by side, of a disk or of the extended partition around them."""
    real = [part for part in partitions if part.type != _PROTECTIVE]
    problems = []
    for part in real:
        where = f"partition {part.number} at LBA {part.first_lba}"
        if part.first_lba == 0:
            problems.append(f"{where}: begins on the table itself")
        if part.last_lba >= blocks:
            problems.append(f"{where}: ends at LBA {part.last_lba}, beyond the disk's last LBA {blocks - 1}")
        if extended and not extended.first_lba < part.first_lba <= part.last_lba <= extended.last_lba:
            problems.append(f"{where}: lies outside its extended partition {extended.number}")
    ends = sorted(real, key=lambda part: (part.first_lba, part.number))
    for one, two in pairwise(ends):
        if two.first_lba <= one.last_lba:
            problems.append(f"partition {two.number} at LBA {two.first_lba}: overlaps partition {one.number}")
    if sum(part.type in _EXTENDED for part in real) > 1:
        problems.append("more than one extended partition")
    return problems
