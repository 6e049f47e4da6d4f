"""A stretch of a disk, read as if it were a file of its own.

It is as long as the partition table or sysfs says. Where the disk ends before that, reading fails: what
should be there is unknown, and not empty.
"""

from __future__ import annotations

import errno
import io


class Window(io.RawIOBase):
    """``length`` bytes of ``reader`` from ``offset`` on; OSError of the reader passes through."""

    def __init__(self, reader: io.BufferedReader, offset: int, length: int) -> None:
        super().__init__()
        self._reader, self._offset, self._length = reader, offset, length
        self._position = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._position, io.SEEK_END: self._length}[whence]
        self._position = max(0, base + offset)
        return self._position

    def tell(self) -> int:
        return self._position

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        wanted = min(len(buffer), max(0, self._length - self._position))
        if wanted:
            self._reader.seek(self._offset + self._position)
            self._advance(self._reader.readinto(buffer[:wanted]), wanted)
        return wanted

    def read(self, size: int = -1) -> bytes:
        left = max(0, self._length - self._position)
        wanted = left if size is None or size < 0 else min(size, left)
        if not wanted:
            return b""
        self._reader.seek(self._offset + self._position)
        data = self._reader.read(wanted)
        self._advance(len(data), wanted)
        return data

    def _advance(self, had: int, wanted: int) -> None:
        if had < wanted:
            raise OSError(errno.EIO, "the disk ends before its stated size")
        self._position += had
