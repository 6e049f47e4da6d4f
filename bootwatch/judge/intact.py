"""Whether people's files are where they were: the partitions that no system starts from."""

from __future__ import annotations

from bootwatch.model.disk import BOOT_TYPES, Content, Disk, Partition
from bootwatch.model.snapshot import State

# Rewritten or emptied by any system; nobody's files lie there.
_NOBODYS = frozenset({"swap"})
_NOT_TOLD = frozenset({"unreadable", "unknown"})


def files_untouched(before: State, now: State) -> bool | None:
    """Whether each partition of the fixed disks, boot volumes apart, is there with the same identity, place
    and file system as in the baseline. False where one isn't; None where that can't be told."""
    verdicts = [
        _same(disk, partition, now.disks.get(key))
        for key, disk in before.disks.items()
        if not disk.removable
        for partition in disk.partitions
        if partition.type not in BOOT_TYPES and not _is_nobodys(partition)
    ]
    if False in verdicts:
        return False
    return None if None in verdicts or not verdicts else True


def _is_nobodys(partition: Partition) -> bool:
    return partition.content is not None and partition.content.kind in _NOBODYS


def _same(disk: Disk, partition: Partition, other: Disk | None) -> bool | None:
    # A disk that is gone may hang elsewhere, or lie in a drawer with all that is on it.
    if other is None or other.problems:
        return None
    found = next((one for one in other.partitions if one.identifier == partition.identifier), None)
    if found is None or other.block_size != disk.block_size:
        return False
    if (found.first_lba, found.last_lba) != (partition.first_lba, partition.last_lba):
        return False
    return _same_content(partition.content, found.content)


def _same_content(before: Content | None, now: Content | None) -> bool | None:
    """None where what is there isn't recognized: what can't be recognized is never called untouched."""
    if before is None or now is None or {before.kind, now.kind} & _NOT_TOLD:
        return None
    return (before.kind, before.uuid) == (now.kind, now.uuid)
