"""Disks and partition tables, read from the disks themselves."""

from __future__ import annotations

import errno
import os
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
    """Each disk with the drive it was read from; a gap for each that could not be read."""

    found: list[tuple[Disk, Drive]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)

    def leave_out(self, drive: Drive, reason: Reason, detail: str) -> None:
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
            _check_length(reader, disk)
    except OSError as error:
        reason = reason_in_reading(error) if opened else reason_for(error)
        disks.leave_out(drive, reason, detail_of(error))
        return
    if disk:
        disks.found.append((disk, drive))
    else:
        disks.leave_out(drive, Reason.DAMAGED, "its partition table is damaged at both of its places")


def _check_length(reader: BinaryIO, disk: Disk | None) -> None:
    """A disk that ends before its stated size may have lost the table that it had: then nothing is known."""
    if disk and disk.table == "none" and reader.seek(0, os.SEEK_END) < disk.size:
        raise OSError(errno.EIO, "the disk ends before its stated size")


def _read_table(reader: BinaryIO, drive: Drive) -> Disk | None:
    """The disk with its partitions; None where it says that it has a GPT and neither copy can be read."""
    disk = Disk(
        key=f"at:{drive.address}",
        table="none",
        address=drive.address,
        size=reader.seek(0, os.SEEK_END) if drive.size is None else drive.size,
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
    """Give disks at one address (namespaces of one controller) an address each, and add it to equal keys."""
    addresses = Counter(disk.address for disk, _ in found)
    placed = [
        (replace(disk, address=f"{disk.address}/{drive.name}".lstrip("/")), drive)
        if addresses[disk.address] > 1 or not disk.address
        else (disk, drive)
        for disk, drive in found
    ]
    placed = [(replace(disk, key=_own_key(disk)), drive) for disk, drive in placed]
    keys = Counter(disk.key for disk, _ in placed)
    return [
        (replace(disk, key=f"{disk.key}@{disk.address}") if keys[disk.key] > 1 else disk, drive)
        for disk, drive in placed
    ]


def _own_key(disk: Disk) -> str:
    return f"at:{disk.address}" if disk.table == "none" else disk.key
