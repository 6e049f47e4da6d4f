"""GUID partition tables: UEFI 2.10 §5.3.

Header at LBA 1 (92 bytes: signature, revision, header size, CRC32 of the header with this field zero,
reserved, own LBA, the other header's LBA, first and last usable LBA, disk GUID, LBA of the entry array,
number and size of entries, CRC32 of the array) and a backup of it at the disk's last LBA with an array of its
own. An entry: type GUID, own GUID, first and last LBA (inclusive), attributes, name in UTF-16. Every LBA
counts logical blocks.
"""

import struct
import zlib
from dataclasses import dataclass, field

from . import FormatError, guid, utf16
from .reader import Reader, Source

_HEADER = struct.Struct("<8sIIIIQQQQ16sQIII")
_ENTRY = struct.Struct("<16s16sQQQ72s")
_CRC_OFFSET = 16
_SIGNATURE = b"EFI PART"
_UNUSED = bytes(16)
_MAX_BLOCK_SIZE = 1 << 16
# A table of 128 entries takes 16 KiB; more than this is damage or malice, not a disk.
MAX_ARRAY_BYTES = 4 << 20


@dataclass(frozen=True, slots=True)
class Partition:
    """One entry in use. `number` counts from 1, as Linux and hard drive nodes number it."""

    number: int
    type: str
    guid: str
    first_lba: int
    last_lba: int
    attributes: int
    name: str


@dataclass(frozen=True, slots=True)
class PartitionTable:
    """A disk's table. LBAs count blocks of `block_size` bytes; GUIDs are in lower case.

    `source` says where it came from: "primary", "backup", or "damaged" when neither copy passes its checks:
    then the entries are what could be salvaged, and neither firmware nor Linux will use them.
    """

    disk_guid: str
    partitions: tuple[Partition, ...]
    block_size: int
    source: str
    problems: list[str] = field(default_factory=list)

    @classmethod
    def read(cls, reader: Reader, block_size: int) -> "PartitionTable":
        """Read the table of a whole disk; `block_size` is the disk's logical block size in bytes.

        FormatError when there is no table at either end. OSError passes through.
        """
        if not 512 <= block_size <= _MAX_BLOCK_SIZE or block_size & (block_size - 1):
            raise FormatError(f"{block_size} is no block size of a disk")
        source = Source(reader)
        last = source.size // block_size - 1
        primary = _Copy.read(source, block_size, 1, "primary")
        backup = _read_backup(source, block_size, last, primary)
        chosen, problems = _choose(primary, backup)
        if backup is not None and backup is chosen:
            problems += _place(backup, last)
        elif chosen is primary and chosen.good:
            problems += _compare(chosen, backup, last)
        partitions = chosen.partitions()
        problems += _check(chosen, partitions)
        return cls(
            chosen.disk_guid, partitions, block_size, chosen.label if chosen.good else "damaged", problems
        )


@dataclass(frozen=True, slots=True)
class _Copy:
    """One of the two copies: header and array as they lie there, with what is wrong about them."""

    label: str
    lba: int
    other_lba: int
    usable: tuple[int, int]
    disk_guid: str
    entry_size: int
    array: bytes
    array_crc: int
    problems: tuple[str, ...]

    @property
    def good(self) -> bool:
        return not self.problems

    @classmethod
    def read(cls, source: Source, block_size: int, lba: int, label: str) -> "_Copy | None":
        """The copy whose header is at `lba`, or None if there is no header at all."""
        block = source.read(lba * block_size, block_size)
        if len(block) < block_size or not block.startswith(_SIGNATURE):
            return None
        where = f"{label} header at byte {lba * block_size}"
        (_, _, size, crc, _, own, other, first, last, disk, array_lba, count, entry, array_crc) = (
            _HEADER.unpack_from(block)
        )
        problems = _check_header(block, where, size, crc, lba, own)
        array = b""
        if entry < _ENTRY.size or entry % 8 or count * entry > MAX_ARRAY_BYTES:
            problems.append(f"{where}: {count} entries of {entry} bytes make no table")
        else:
            array = _read_array(source, block_size, array_lba, count * entry)
            if zlib.crc32(array) != array_crc:
                problems.append(f"{label} entries at byte {array_lba * block_size}: wrong checksum")
        text = guid.from_bytes(disk)
        return cls(label, lba, other, (first, last), text, entry, array, array_crc, tuple(problems))

    def partitions(self) -> tuple[Partition, ...]:
        found = []
        for index in range(len(self.array) // self.entry_size if self.array else 0):
            kind, own, first, last, attributes, name = _ENTRY.unpack_from(self.array, index * self.entry_size)
            if kind != _UNUSED:
                guids = guid.from_bytes(kind), guid.from_bytes(own)
                found.append(Partition(index + 1, *guids, first, last, attributes, utf16.until_nul(name)))
        return tuple(found)


def _check_header(block: bytes, where: str, size: int, crc: int, lba: int, own: int) -> list[str]:
    if not _HEADER.size <= size <= len(block):
        return [f"{where}: header size {size} is impossible"]
    bare = block[:_CRC_OFFSET] + bytes(4) + block[_CRC_OFFSET + 4 : size]
    problems = []
    if zlib.crc32(bare) != crc:
        problems.append(f"{where}: wrong checksum")
    if own != lba:
        problems.append(f"{where}: says that it lies at LBA {own}, not {lba}")
    return problems


def _read_array(source: Source, block_size: int, lba: int, length: int) -> bytes:
    """Whole blocks, so that a reader that bypasses the page cache can serve them."""
    blocks = -(-length // block_size)
    return source.read(lba * block_size, blocks * block_size)[:length]


def _read_backup(source: Source, block_size: int, last: int, primary: _Copy | None) -> _Copy | None:
    """The backup lies at the last LBA; on a disk that has grown, where the primary header says."""
    backup = _Copy.read(source, block_size, last, "backup") if last > 1 else None
    if backup is None and primary is not None and primary.good and 1 < primary.other_lba < last:
        return _Copy.read(source, block_size, primary.other_lba, "backup")
    return backup


def _choose(primary: _Copy | None, backup: _Copy | None) -> tuple[_Copy, list[str]]:
    if primary is not None and primary.good:
        return primary, []
    problems = ["no primary header at LBA 1"] if primary is None else list(primary.problems)
    if backup is not None and backup.good:
        return backup, problems
    found = primary or backup
    if found is None:
        raise FormatError("no GUID partition table: no header at LBA 1 nor at the last LBA")
    problems += ["no backup header at the last LBA"] if backup is None else backup.problems
    return found, problems


def _compare(primary: _Copy, backup: _Copy | None, last: int) -> list[str]:
    """What a good primary copy's backup leaves to be said."""
    if backup is None:
        if primary.other_lba > last:
            return [
                f"the backup header should lie at LBA {primary.other_lba}, beyond the disk's last LBA {last}"
            ]
        return ["no backup header at the last LBA"]
    problems = list(backup.problems) + _place(backup, last)
    if backup.good and (backup.disk_guid, backup.array_crc) != (primary.disk_guid, primary.array_crc):
        problems.append("primary and backup table differ")
    return problems


def _place(backup: _Copy, last: int) -> list[str]:
    if backup.lba == last:
        return []
    return [f"backup header at LBA {backup.lba}, not at the disk's last LBA {last}"]


def _check(copy: _Copy, partitions: tuple[Partition, ...]) -> list[str]:
    problems = []
    first, last = copy.usable
    end = -1
    for part in sorted(partitions, key=lambda part: (part.first_lba, part.number)):
        where = f"partition {part.number} at LBA {part.first_lba}"
        if part.first_lba > part.last_lba:
            problems.append(f"{where}: ends at LBA {part.last_lba}, before its start")
        elif part.first_lba < first or part.last_lba > last:
            problems.append(f"{where}: reaches outside the usable LBAs {first} to {last}")
        if part.first_lba <= end:
            problems.append(f"{where}: overlaps the partition before it")
        end = max(end, part.last_lba)
    return problems
