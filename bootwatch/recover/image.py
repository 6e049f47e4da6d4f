"""Files on a boot volume in a disk image, through mtools: where there is nothing to mount."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from typing import cast

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume
from bootwatch.formats.reader import Reader
from bootwatch.observe.window import Window
from bootwatch.problem import Problem
from bootwatch.recover.paths import beside, parts_of
from bootwatch.recover.tools import run_tool

_LIMIT = 256 << 20
# What mtools takes for patterns, besides what no name may hold.
_PATTERN = frozenset("[]")


class FatImage:
    """A FAT file system of ``size`` bytes in a plain file, from ``offset`` on."""

    def __init__(self, file: str, offset: int, size: int) -> None:
        self._file, self._offset, self._size = file, offset, size

    def read(self, path: str) -> bytes | None:
        """A file's content, None where there is none. Raises Problem."""
        parts_of(path)
        with self._volume() as volume, contextlib.suppress(FileNotFoundError):
            return volume.read(path, _LIMIT)
        return None

    def write(self, path: str, data: bytes) -> None:
        """Put a file in place; folders above it are made. Raises Problem."""
        for folder in self.missing_folders(path):
            self._run("mmd", _name(folder))
        unfinished = beside(path)
        with tempfile.NamedTemporaryFile() as file:
            file.write(data)
            file.flush()
            self._run("mcopy", "-o", file.name, _name(unfinished))
        if self.read(unfinished) != data:
            raise Problem(f"What was written for {path} reads back otherwise; what was there is untouched.")
        self.remove(path)
        self._run("mren", _name(unfinished), _name(path))

    def remove(self, path: str) -> None:
        """Take a file away; one that isn't there is fine. Raises Problem."""
        if self._is_there(path):
            self._run("mdel", _name(path))

    def remove_folder(self, path: str) -> None:
        """Take a folder away if nothing lies in it."""
        with contextlib.suppress(Problem):  # mtools refuses where something does
            self._run("mrd", _name(path))

    def missing_folders(self, path: str) -> list[str]:
        """The folders that writing a file would make, the uppermost first."""
        names = parts_of(path)
        folders = ["\\" + "\\".join(names[:end]) for end in range(1, len(names))]
        return [folder for folder in folders if not self._is_there(folder)]

    def room(self) -> tuple[int, int]:
        """Free bytes, and in what unit they are given out."""
        with self._volume() as volume:
            return volume.free_bytes, volume.cluster_size

    def require_writable(self) -> None:
        """Raises Problem where the image can't be written, or is damaged: mtools follows a broken chain of
        clusters into the table's own first entries, and frees them."""
        if not os.access(self._file, os.W_OK):
            raise Problem(f"The disk image {self._file} can't be written.")
        with self._volume() as volume:
            path, fault = next(iter(volume.faults().items()), ("", ""))
        if fault:
            raise Problem(
                f"The boot volume in {self._file} is damaged: {path}: {fault}.",
                f"Mend it first: it begins at byte {self._offset}, and fsck.fat -a mends it.",
            )

    def _is_there(self, path: str) -> bool:
        with self._volume() as volume, contextlib.suppress(FileNotFoundError):
            volume.find(path)
            return True
        return False

    @contextlib.contextmanager
    def _volume(self) -> Iterator[Volume]:
        try:
            with open(self._file, "rb") as file:
                yield Volume(cast(Reader, Window(file, self._offset, self._size)))
        except FormatError as error:
            raise Problem(f"The boot volume in {self._file} is damaged: {error}.") from error

    def _run(self, tool: str, *arguments: str) -> None:
        run_tool(
            [tool, "-i", f"{self._file}@@{self._offset}", *arguments],
            "The disk image could not be written",
            lacking="mtools is not installed, and disk images are written with it.",
            settings={"MTOOLS_SKIP_CHECK": "1", "LC_ALL": "C.UTF-8"},
        )


def _name(path: str) -> str:
    if _PATTERN & set(path):
        raise Problem(f"mtools can't write {path!r} in a disk image: it takes the brackets for a pattern.")
    return "::" + "/".join(parts_of(path))
