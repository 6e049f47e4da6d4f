"""Descriptions of disks, and the images made from them by sfdisk, mkfs.fat and mtools."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.firmware import tool
from tests.firmware.image import Format, Image
from tests.firmware.volume import Volume, make_fat

MIB = 1 << 20
SECTOR = 512
ESP = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
BASIC_DATA = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"
LINUX_DATA = "0fc63daf-8483-4772-8e79-3d69d8477de4"


@dataclass(frozen=True)
class Fat:
    """A FAT file system and what is in it: path (with backslashes) to content."""

    files: Mapping[str, bytes] = field(default_factory=dict)
    bits: int = 32
    label: str = ""
    serial: str = ""


@dataclass(frozen=True)
class Partition:
    """One partition; `content` is a file system to make, a file to copy, or nothing. The type is a GUID on a
    GPT, hex digits on an MBR."""

    guid: str = ""
    size: int = 40 * MIB
    type: str = ESP
    name: str = ""
    content: Fat | Path | None = None


@dataclass(frozen=True)
class Disk:
    """A disk with a GPT; with `table="mbr"` an MBR and its signature (eight hex digits) in `guid`; with
    `table="none"` one file system over the whole disk."""

    partitions: tuple[Partition, ...]
    guid: str = ""
    table: str = "gpt"

    def place(self, number: int) -> tuple[int, int]:
        """First byte and size in bytes of the partition (from 1)."""
        if self.table == "none":
            return 0, self.partitions[0].size
        before = sum(partition.size for partition in self.partitions[: number - 1])
        return MIB + before, self.partitions[number - 1].size

    def write(self, path: Path) -> Image:
        """Makes the raw image, sparse."""
        with path.open("wb") as file:
            file.truncate(self._size())
        if self.table != "none":
            # It would wait for a kernel that has no part in this.
            tool.run(["sfdisk", "--quiet", "--no-tell-kernel", path], stdin=self._script().encode())
        for number, partition in enumerate(self.partitions, 1):
            _fill(path, self.place(number), partition.content)
        return Image(path, Format.RAW)

    def _size(self) -> int:
        filled = sum(partition.size for partition in self.partitions)
        return filled if self.table == "none" else filled + 2 * MIB

    def _script(self) -> str:
        """What sfdisk is to do."""
        kind, mark = ("gpt", "") if self.table == "gpt" else ("dos", "0x")
        lines = [f"label: {kind}", *([f"label-id: {mark}{self.guid}"] if self.guid else [])]
        for number, partition in enumerate(self.partitions, 1):
            start, size = (value // SECTOR for value in self.place(number))
            fields = [f"start={start}", f"size={size}", f"type={partition.type}"]
            fields += [f"uuid={partition.guid}"] if partition.guid else []
            fields += [f'name="{partition.name}"'] if partition.name else []
            lines.append(", ".join(fields))
        return "\n".join(lines) + "\n"


def _fill(path: Path, place: tuple[int, int], content: Fat | Path | None) -> None:
    offset, size = place
    if isinstance(content, Fat):
        make_fat(path, size, offset=offset, bits=content.bits, label=content.label, serial=content.serial)
        if content.files:
            Volume(path, offset).write(content.files)
    elif content is not None:
        options = [f"seek={offset}", "oflag=seek_bytes", "bs=1M", "conv=notrunc,sparse", "status=none"]
        tool.run(["dd", f"if={os.fspath(content)}", f"of={os.fspath(path)}", *options])
