"""GUID partition tables: UEFI 2.10 §5.3.

LBA 0 holds the protective MBR, LBA 1 the header, which leads to the entries; a backup header lies at the
disk's last LBA with entries of its own. Each LBA counts logical blocks; a partition's last LBA belongs to it.
`bootwatch.formats.gpt_copy` has the layout of header and entries.
"""

from dataclasses import dataclass, field
from itertools import pairwise

from . import FormatError, guid, mbr
from .gpt_copy import MAX_ARRAY_BYTES, Copy, Partition
from .problems import bounded
from .reader import Reader, Source

_MAX_BLOCK_SIZE = 1 << 16
_NO_GUID = "00000000-0000-0000-0000-000000000000"


@dataclass(frozen=True, slots=True)
class PartitionTable:
    """A disk's table. LBAs count blocks of `block_size` bytes; GUIDs are in lower case.

    `source` says where it came from: "primary", "backup", or "damaged" when neither copy passes its checks:
    then the entries are what could be salvaged, and Linux will not use them. `protection` is
    what the MBR in the first block gives it: "protective", "hybrid" (other partitions beside the protective
    one), or "missing", which makes firmware and Linux ignore the table.
    """

    disk_guid: str
    partitions: tuple[Partition, ...]
    block_size: int
    source: str
    problems: list[str] = field(default_factory=list)
    protection: str = "protective"

    @classmethod
    def read(cls, reader: Reader, block_size: int) -> "PartitionTable":
        """Read the table of a whole disk; `block_size` is the disk's logical block size in bytes.

        FormatError when there is no table at either end. OSError passes through.

        >>> import io
        >>> PartitionTable.read(io.BytesIO(bytes(1 << 20)), 512)
        Traceback (most recent call last):
        bootwatch.formats.FormatError: no GUID partition table: no header at LBA 1 nor at the last LBA
        """
        if not 512 <= block_size <= _MAX_BLOCK_SIZE or block_size & (block_size - 1):
            raise FormatError(f"{block_size} is no block size of a disk")
        source = Source(reader)
        last = source.size // block_size - 1
        primary = Copy.read(source, block_size, 1, "primary")
        backup = _read_backup(source, block_size, last, primary)
        chosen, problems = _choose(primary, backup, last)
        label = chosen.label if chosen.good and chosen.lba in (1, last) else "damaged"
        protection = mbr.protection(source.read(0, block_size))
        if protection == "missing":
            problems.append("no protective MBR in the first block: firmware and Linux ignore the table")
        partitions = chosen.partitions()
        problems += _check(chosen, partitions, last)
        disk_guid = guid.from_bytes(chosen.header.disk_guid)
        return cls(disk_guid, partitions, block_size, label, bounded(problems), protection)


def _read_backup(source: Source, block_size: int, last: int, primary: Copy | None) -> Copy | None:
    """The backup lies at the last LBA; on a disk that has grown, where the primary header says."""
    backup = Copy.read(source, block_size, last, "backup") if last > 1 else None
    if backup is None and primary is not None and 1 < primary.header.other_lba < last:
        return Copy.read(source, block_size, primary.header.other_lba, "backup")
    return backup


def _choose(primary: Copy | None, backup: Copy | None, last: int) -> tuple[Copy, list[str]]:
    """The copy to be believed, and what is to be said of both."""
    if primary is not None and primary.good:
        return primary, primary.problems + _compare(primary, backup, last)
    problems = ["no primary header at LBA 1"] if primary is None else primary.problems
    problems += _no_backup(primary, last) if backup is None else backup.problems + _place(backup, last)
    if backup is not None and backup.good:
        return backup, problems
    found = primary or backup
    if found is None:
        raise FormatError("no GUID partition table: no header at LBA 1 nor at the last LBA")
    return found, problems


def _compare(primary: Copy, backup: Copy | None, last: int) -> list[str]:
    """What a good primary copy's backup leaves to be said."""
    other = primary.header.other_lba
    if backup is None:
        return _no_backup(primary, last)
    problems = backup.problems + _place(backup, last)
    if other != backup.lba:
        problems.append(f"primary header: says that the backup lies at LBA {other}, not {backup.lba}")
    if backup.good and backup.content != primary.content:
        problems.append("primary and backup table differ")
    return problems


def _no_backup(primary: Copy | None, last: int) -> list[str]:
    if primary is not None and primary.header.other_lba > last:
        other = primary.header.other_lba
        return [f"the backup header should lie at LBA {other}, beyond the disk's last LBA {last}"]
    return ["no backup header at the last LBA"]


def _place(backup: Copy, last: int) -> list[str]:
    problems = []
    if backup.lba != last:
        problems.append(f"backup header at LBA {backup.lba}, not at the disk's last LBA {last}")
    if backup.header.other_lba != 1:
        problems.append(f"backup header: says that the primary lies at LBA {backup.header.other_lba}, not 1")
    return problems


def _check(copy: Copy, partitions: tuple[Partition, ...], last: int) -> list[str]:
    """What does not fit about the entries; firmware leaves out those outside the usable LBAs and overlaps."""
    header = copy.header
    problems = []
    for part in partitions:
        where = f"partition {part.number} at LBA {part.first_lba}"
        if part.first_lba > part.last_lba:
            problems.append(f"{where}: ends at LBA {part.last_lba}, before its start")
        elif part.first_lba < header.first_usable or part.last_lba > header.last_usable:
            usable = f"{header.first_usable} to {header.last_usable}"
            problems.append(f"{where}: reaches outside the usable LBAs {usable}")
        if part.last_lba > last:
            problems.append(f"{where}: ends at LBA {part.last_lba}, beyond the disk's last LBA {last}")
    return problems + _overlaps(partitions) + _same_guids(partitions)


def _overlaps(partitions: tuple[Partition, ...]) -> list[str]:
    problems = []
    ordered = sorted(partitions, key=lambda part: (part.first_lba, part.number))
    furthest = ordered[0] if ordered else None
    for part in ordered[1:]:
        if furthest is not None and part.first_lba <= furthest.last_lba:
            problems.append(
                f"partition {part.number} at LBA {part.first_lba}: overlaps partition {furthest.number}"
            )
        if furthest is None or part.last_lba > furthest.last_lba:
            furthest = part
    return problems


def _same_guids(partitions: tuple[Partition, ...]) -> list[str]:
    ordered = sorted(partitions, key=lambda part: (part.guid, part.number))
    problems = [
        f"partition {part.number}: has no GUID of its own" for part in ordered if part.guid == _NO_GUID
    ]
    return problems + [
        f"partitions {one.number} and {two.number}: have the same GUID {one.guid}"
        for one, two in pairwise(ordered)
        if one.guid == two.guid != _NO_GUID
    ]


__all__ = ["MAX_ARRAY_BYTES", "Partition", "PartitionTable"]
