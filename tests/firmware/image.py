"""Disk images of either format, and ranges of bytes in them."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.firmware import tool


class Format(StrEnum):
    """As QEMU spells them."""

    RAW = "raw"
    QCOW2 = "qcow2"


@dataclass(frozen=True)
class Image:
    """A disk image in a file."""

    path: Path
    format: Format

    @property
    def size(self) -> int:
        """The disk's size in bytes."""
        found = json.loads(tool.run(["qemu-img", "info", "--output=json", "-f", self.format, self.path]))
        return int(found["virtual-size"])

    @contextmanager
    def opened(self, offset: int = 0, size: int | None = None) -> Iterator[Path]:
        """A raw file with those bytes of the disk; what is changed in it is written back at the end. Not
        while a machine has the disk."""
        length = self.size - offset if size is None else size
        with TemporaryDirectory(prefix="range.") as folder:
            part = Path(folder) / "part"
            tool.run(["qemu-img", "convert", "-O", "raw", "--image-opts", self._range(offset, length), part])
            before = part.read_bytes()
            yield part
            if part.read_bytes() != before:
                target = ["-n", "--target-image-opts", self._range(offset, length)]
                tool.run(["qemu-img", "convert", "-f", "raw", part, *target])

    def _range(self, offset: int, length: int) -> str:
        return (
            f"driver=raw,offset={offset},size={length},file.driver={self.format},"
            f"file.file.driver=file,file.file.filename={self.path}"
        )

    def overlay(self, path: Path) -> "Image":
        """A new image at `path` that holds only what is written from now on."""
        tool.run(["qemu-img", "create", "-q", "-f", "qcow2", "-b", self.path, "-F", self.format, path])
        return Image(path, Format.QCOW2)

    def converted(self, path: Path, format_: Format) -> "Image":
        """The same disk in another format, holes kept."""
        tool.run(["qemu-img", "convert", "-f", self.format, "-O", format_, self.path, path])
        return Image(path, format_)
