"""The kernel's view of the demo's disks: sys/class/block and what its links lead to."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from bootwatch.demo.disk import BLOCK, MIB, Disk, Partition

_SECTOR = 512  # the kernel's unit for size and start, whatever the disk's block size


def write_files(folder: Path, texts: Mapping[str, str]) -> None:
    """Write each text (path below ``folder`` -> content) with a closing newline."""
    for path, text in texts.items():
        place = folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text + "\n")


def lay_disk(root: Path, disk: Disk, device: tuple[int, int]) -> None:
    """Lay the folders and links of one disk; ``device`` is its major and minor number."""
    major, minor = device
    folder = root / "sys/devices" / disk.address
    write_files(
        folder,
        {
            "size": str(disk.size * MIB // _SECTOR),
            "removable": "0",
            "ro": "0",
            "dev": f"{major}:{minor}",
            "queue/logical_block_size": str(BLOCK),
            "queue/physical_block_size": str(BLOCK),
        },
    )
    write_files(root / "sys/devices", {f"{disk.controller}/model": disk.model, **dict(disk.facts)})
    os.symlink(os.path.relpath(disk.controller, disk.address), folder / "device")
    _link(root, disk.name, disk.address)
    for part in disk.partitions:
        _lay_partition(root, disk, part, f"{major}:{minor + part.number}")


def partition_name(disk: Disk, part: Partition) -> str:
    """As the kernel spells it: sda1, nvme0n1p1."""
    return f"{disk.name}{'p' if disk.name[-1].isdigit() else ''}{part.number}"


def _lay_partition(root: Path, disk: Disk, part: Partition, device: str) -> None:
    name = partition_name(disk, part)
    write_files(
        root / "sys/devices" / disk.address / name,
        {
            "partition": str(part.number),
            "start": str(part.first * MIB // _SECTOR),
            "size": str(part.length * MIB // _SECTOR),
            "ro": "0",
            "dev": device,
        },
    )
    _link(root, name, f"{disk.address}/{name}")


def _link(root: Path, name: str, address: str) -> None:
    links = root / "sys/class/block"
    links.mkdir(parents=True, exist_ok=True)
    os.symlink(f"../../devices/{address}", links / name)
