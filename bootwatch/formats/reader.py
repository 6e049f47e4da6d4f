"""Readers: any seekable binary file object, from a block device to a BytesIO."""

from typing import Protocol


class Reader(Protocol):
    """What the formats need of a file object. Reads may be short; an empty read is the end."""

    def seek(self, offset: int, whence: int = 0, /) -> int: ...

    def read(self, size: int = -1, /) -> bytes: ...


class Source:
    """A reader and its size in bytes, found by seeking to its end (also right for block devices)."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self.size = reader.seek(0, 2)

    def read(self, offset: int, length: int) -> bytes:
        """`length` bytes at byte `offset`; fewer only where the content ends. OSError passes through."""
        # Never seeks beyond the end: a block device would answer with an error that means nothing here.
        length = min(length, self.size - offset)
        if length <= 0 or offset < 0:
            return b""
        self._reader.seek(offset)
        data = self._reader.read(length)
        return data if len(data) == length or not data else self._rest(data, length)

    def read_into(self, offset: int, buffer: memoryview) -> int:
        """Fill `buffer` from byte `offset` on; how many bytes there were. OSError passes through."""
        length = min(len(buffer), self.size - offset)
        if length <= 0 or offset < 0:
            return 0
        fill = getattr(self._reader, "readinto", None)
        if fill is None:
            data = self.read(offset, length)
            buffer[: len(data)] = data
            return len(data)
        self._reader.seek(offset)
        done = 0
        while done < length and (count := fill(buffer[done:length])):
            done += count
        return done

    def _rest(self, data: bytes, length: int) -> bytes:
        parts = [data]
        missing = length - len(data)
        while missing > 0:
            data = self._reader.read(missing)
            if not data:
                break
            parts.append(data)
            missing -= len(data)
        return b"".join(parts)
