"""Disks and partition tables, read from the disks themselves."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from typing import BinaryIO

from bootwatch.formats import FormatError, gpt, mbr
from bootwatch.model.disk import Disk, Partition
from bootwatch.model.gap import Gap, Reason
from bootwatch.observe.blocks import Drive, read_drives
from bootwatch.observe.machine import Machine, detail_of, reason_for, reason_in_reading


@dataclass
class Disks:
    """Each disk with the drive it was read from, and the disks that could not be read."""

    found: list[tuple[Disk, Drive]] = field(default_factory=list)
    unread: dict[str, Drive] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)

    def leave_out(self, drive: Drive, reason: Reason, detail: str) -> None:
        self.unread[drive.name] = drive
        self.gaps.append(Gap("disk", drive.name, reason, f"dev/{drive.name}: {detail}"))


def read_disks(machine: Machine) -> Disks:
    """Read every disk's partition table; what can't be read is a gap that names the kernel's name for it."""
    disks = Disks()
    try:
        drives = read_drives(machine)
    except OSError as error:
        disks.gaps.append(Gap("disk", "*", reason_for(error), f"sys/class/block: {detail_of(error)}"))
        return disks
    for drive in drives:
        _read_one(machine, drive, disks)
    disks.found = _tell_apart(disks.found)
    return disks


def _read_one(machine: Machine, drive: Drive, disks: Disks) -> None:
    opened = False
    try:
        with machine.open(f"dev/{drive.name}") as reader:
            opened = True
            disk = _read_table(reader, drive)
    except OSError as error:
        reason = reason_in_reading(error) if opened else reason_for(error)
        disks.leave_out(drive, reason, detail_of(error))
        return
    if disk:
        disks.found.append((disk, drive))
    else:
        disks.leave_out(drive, Reason.DAMAGED, "its partition table is damaged at both of its places")


def _read_table(reader: BinaryIO, drive: Drive) -> Disk | None:
    """The disk with its partitions; None where it says that it has a GPT and neither copy can be read."""
    disk = Disk(
        key=f"at:{drive.address}",
        table="none",
        address=drive.address,
        size=drive.size,
        block_size=drive.block_size,
        removable=drive.removable,
        model=drive.model,
        ports=drive.ports,
        partitions=(),
    )
    try:
        table = gpt.PartitionTable.read(reader, drive.block_size)
        # What can be salvaged of two damaged copies is for a person to look at: the firmware takes neither.
        return None if table.source == "damaged" else _with_gpt(disk, table)
    except FormatError:
        pass
    try:
        record = mbr.PartitionTable.read(reader, drive.block_size)
    except FormatError:
        return disk
    return None if record.is_protective else _with_mbr(disk, record)


def _with_gpt(disk: Disk, table: gpt.PartitionTable) -> Disk:
    partitions = tuple(
        Partition(
            part.number,
            f"gpt:{part.guid}",
            part.type,
            part.first_lba,
            part.last_lba,
            part.attributes,
            part.name,
        )
        for part in table.partitions
    )
    return replace(
        disk,
        key=f"gpt:{table.disk_guid}",
        table="gpt",
        partitions=partitions,
        problems=tuple(map(str, table.problems)),
    )


def _with_mbr(disk: Disk, table: mbr.PartitionTable) -> Disk:
    partitions = tuple(
        Partition(
            part.number,
            f"mbr:{table.signature}-{part.number:02x}",
            f"mbr:{part.type:02x}",
            part.first_lba,
            part.last_lba,
        )
        for part in table.partitions
    )
    return replace(disk, key=f"mbr:{table.signature}", table="mbr", partitions=partitions)


def _tell_apart(found: list[tuple[Disk, Drive]]) -> list[tuple[Disk, Drive]]:
    """Add the address to the key of disks that carry the same identifier, as clones do."""
    count = Counter(disk.key for disk, _ in found)
    return [
        (replace(disk, key=f"{disk.key}@{disk.address}") if count[disk.key] > 1 else disk, drive)
        for disk, drive in found
    ]
