"""Partition types, read from the table itself and written by sfdisk, which writes nothing else of it.

A type is spelled as a partition's: a GUID in lower case, or "mbr:" and two hex digits.
"""

from __future__ import annotations

import os
import stat
from dataclasses import replace

from bootwatch.model.disk import Disk, Partition
from bootwatch.observe.machine import Machine
from bootwatch.observe.volumes import Place
from bootwatch.problem import Problem
from bootwatch.recover.steps import is_type
from bootwatch.recover.tools import run_tool
from bootwatch.recover.volumes import place_of

_MBR = "mbr:"
_LACKING = "sfdisk is not installed (package fdisk), and partition types are written with it."
# The kernel's own table holds no types, so it needn't be told, and a mounted partition stays as it is.
_QUIETLY = ("--no-reread", "--no-tell-kernel", "--wipe=never", "--wipe-partitions=never")
_BLOCK = 512


def read_type(machine: Machine, volume: str) -> str:
    """The type of the partition of that identity. Raises Problem where there isn't just one."""
    return _part(place_of(machine, volume), volume).type


def require_writable(machine: Machine, volume: str) -> None:
    """Raises Problem where the type can't be written, or sfdisk reads another one than we do."""
    place = place_of(machine, volume)
    device, part = _device(machine, place), _part(place, volume)
    if not os.access(device, os.W_OK):
        raise Problem(f"The disk {device} can't be written.")
    if place.disk.block_size != _BLOCK and not stat.S_ISBLK(os.stat(device).st_mode):
        raise Problem(f"sfdisk takes a disk image for one of {_BLOCK}-byte blocks, and {device} is not.")
    _require_same(device, part)


def write_type(machine: Machine, volume: str, kind: str) -> None:
    """Set it, and see that nothing else in the table is another. Raises Problem, OSError."""
    if not is_type(kind):
        raise Problem(f"{kind!r} is no type of a partition with files.")
    require_writable(machine, volume)
    place = place_of(machine, volume)
    device, part = _device(machine, place), _part(place, volume)
    if kind.startswith(_MBR) != part.type.startswith(_MBR):
        raise Problem(f"The partition table of {volume} is of another kind.")
    _sfdisk(*_QUIETLY, "--part-type", device, str(part.number), kind.removeprefix(_MBR))
    _settle(device)
    after = place_of(machine, volume)
    if _without_types(after.disk) != _without_types(place.disk):
        raise Problem("The partition table reads back otherwise in more than the type.")
    _require_same(device, _part(after, volume))


def _require_same(device: str, part: Partition) -> None:
    said = _sfdisk("--part-type", device, str(part.number)).strip().lower()
    if (f"{_MBR}{said.zfill(2)}" if part.type.startswith(_MBR) else said) != part.type:
        raise Problem(f"sfdisk reads the type of partition {part.number} of {device} as {said[:40]!r}.")


def _sfdisk(*words: str) -> str:
    return run_tool(
        ["sfdisk", *words],
        "sfdisk failed",
        lacking=_LACKING,
        settings={"LC_ALL": "C.UTF-8"},
    )


def _device(machine: Machine, place: Place) -> str:
    return machine.locate(f"dev/{place.drive.name}")


def _part(place: Place, volume: str) -> Partition:
    if place.partition is None:
        raise Problem(f"The boot volume {volume} lies in no partition.")
    return place.partition


def _without_types(disk: Disk) -> Disk:
    parts = tuple(replace(part, type="", content=None) for part in disk.partitions)
    return replace(disk, partitions=parts, problems=(), content=None)


def _settle(device: str) -> None:
    """On the disk, and read from there: sfdisk syncs only where it tells the kernel."""
    handle = os.open(device, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)
