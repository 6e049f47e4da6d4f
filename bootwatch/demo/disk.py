"""Disk images with a real partition table and real FAT volumes, made by sgdisk, mkfs.fat and mtools."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

from bootwatch.demo import tools
from bootwatch.demo.variables import file, hard_drive

BLOCK = 512
MIB = 1024 * 1024
# Partition types by sgdisk's short names.
ESP = "ef00"
LINUX = "8300"
DATA = "0700"


@dataclass(frozen=True)
class Partition:
    """``first`` and ``length`` in MiB. A label makes it a FAT volume, with ``serial`` in eight hex digits."""

    number: int
    first: int
    length: int
    type: str
    guid: UUID
    name: str
    label: str = ""
    serial: str = ""

    @property
    def start(self) -> int:
        """In logical blocks."""
        return self.first * MIB // BLOCK

    @property
    def blocks(self) -> int:
        return self.length * MIB // BLOCK

    def entry_path(self, path: str) -> bytes:
        """The short device path of a file on this volume, as an entry holds it."""
        return hard_drive(self.number, self.start, self.blocks, self.guid) + file(path)


@dataclass(frozen=True)
class Disk:
    """One disk; ``size`` in MiB.

    Below sys/devices lie: at ``address`` the disk itself, at ``controller`` the device that names its
    model, and ``facts`` (path -> text), which tell what it is plugged into.
    """

    name: str
    model: str
    size: int
    guid: UUID
    address: str
    controller: str
    facts: tuple[tuple[str, str], ...]
    partitions: tuple[Partition, ...]

    def make(self, image: Path) -> None:
        """Write the image: sparse, partitioned, its FAT volumes empty."""
        with image.open("wb") as blank:
            blank.truncate(self.size * MIB)
        command = ["sgdisk", "--clear", f"--disk-guid={self.guid}"]
        for part in self.partitions:
            last = part.start + part.blocks - 1
            command += [
                f"--new={part.number}:{part.start}:{last}",
                f"--typecode={part.number}:{part.type}",
                f"--partition-guid={part.number}:{part.guid}",
                f"--change-name={part.number}:{part.name}",
            ]
        tools.run([*command, str(image)])
        for part in self.partitions:
            if part.label:
                _format(image, part)


def _format(image: Path, part: Partition) -> None:
    # One block a cluster: with larger ones these small volumes would have too few clusters for FAT32.
    kind = ["-F", "32", "-s", "1"] if part.length >= 64 else ["-F", "16"]
    start = str(part.start)
    options = [*kind, "-n", part.label, "-i", part.serial, "-h", start, "--offset", start]
    # mkfs.fat counts in KiB.
    tools.run(["mkfs.fat", *options, str(image), str(part.length * MIB // 1024)])


def put(image: Path, part: Partition, files: Mapping[str, bytes]) -> None:
    """Copy ``files`` (path with backslashes -> content) onto a FAT volume, replacing those that are there."""
    with tempfile.TemporaryDirectory(prefix="bootwatch-demo-") as folder:
        tree = Path(folder)
        for path, content in files.items():
            place = tree.joinpath(*path.strip("\\").split("\\"))
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(content)
        tops = sorted(str(top) for top in tree.iterdir())
        tools.run(["mcopy", "-s", "-o", "-Q", "-i", _volume(image, part), *tops, "::/"])


def remove(image: Path, part: Partition, path: str) -> None:
    """Delete one file from a FAT volume."""
    tools.run(["mdel", "-i", _volume(image, part), "::" + path.replace("\\", "/")])


def _volume(image: Path, part: Partition) -> str:
    return f"{image}@@{part.start * BLOCK}"
