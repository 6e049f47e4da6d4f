"""Disks kept as "the blocks that are not zero": u32 size in blocks of 512 bytes, then u32 number and content
of each block. Any bytes at all are such a disk: what is cut off is zero.
"""

import struct
from dataclasses import dataclass, field
from pathlib import Path

BLOCK = 512
_NUMBER = struct.Struct("<I")
_RECORD = _NUMBER.size + BLOCK


@dataclass
class Blocks:
    """A disk of any size in little memory: a seekable reader."""

    size: int
    blocks: dict[int, bytes] = field(default_factory=dict)
    _at: int = 0

    @classmethod
    def of(cls, disk: bytes) -> "Blocks":
        found = {}
        for number in range(-(-len(disk) // BLOCK)):
            block = disk[number * BLOCK : (number + 1) * BLOCK]
            if any(block):
                found[number] = block.ljust(BLOCK, b"\0")
        return cls(len(disk), found)

    @classmethod
    def unpack(cls, data: bytes) -> "Blocks":
        (count,) = _NUMBER.unpack(data[: _NUMBER.size].ljust(_NUMBER.size, b"\0"))
        found = {}
        for at in range(_NUMBER.size, len(data) - _NUMBER.size + 1, _RECORD):
            (number,) = _NUMBER.unpack_from(data, at)
            found[number] = data[at + _NUMBER.size : at + _RECORD].ljust(BLOCK, b"\0")
        return cls(count * BLOCK, found)

    @classmethod
    def load(cls, path: Path) -> "Blocks":
        return cls.unpack(path.read_bytes())

    def pack(self) -> bytes:
        records = (_NUMBER.pack(number) + block for number, block in sorted(self.blocks.items()))
        return _NUMBER.pack(self.size // BLOCK) + b"".join(records)

    def expand(self, path: Path) -> Path:
        """Write it as a sparse file."""
        with path.open("wb") as file:
            file.truncate(self.size)
            for number, block in self.blocks.items():
                file.seek(number * BLOCK)
                file.write(block)
        return path

    def seek(self, offset: int, whence: int = 0, /) -> int:
        self._at = offset + (0, self._at, self.size)[whence]
        return self._at

    def read(self, size: int = -1, /) -> bytes:
        left = max(0, self.size - self._at)
        size = left if size < 0 else min(size, left)
        first, inside = divmod(self._at, BLOCK)
        self._at += size
        there = self._within(first, -(-(inside + size) // BLOCK))
        if not there:
            return bytes(size)
        data = bytearray(size + inside)
        for number in there:
            at = (number - first) * BLOCK
            block = self.blocks[number]
            data[at : at + BLOCK] = block[: max(0, len(data) - at)]
        return bytes(data[inside : inside + size])

    def _within(self, first: int, count: int) -> list[int]:
        if count < len(self.blocks):
            return [number for number in range(first, first + count) if number in self.blocks]
        return [number for number in self.blocks if first <= number < first + count]
