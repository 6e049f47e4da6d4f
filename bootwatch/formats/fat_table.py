"""The file allocation table (FAT specification 1.03, "FAT Data Structure"): which cluster follows which.

Little-endian entries of 12, 16 or 32 bits (the top four reserved); 0 is free, the highest values end a chain,
the one below them marks a bad cluster. Read in pieces as they are needed, from the first copy, which is the
one that Linux and firmware read.
"""

import sys
from array import array
from collections.abc import Iterator

from . import FormatError
from .fat_boot import Geometry
from .reader import Source

# Entries in a piece; never fewer than a FAT12 table has.
PIECE = 4096
_MAX_PIECES = 512
_MASK = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}
_CLEAN = {12: 0, 16: 0x8000, 32: 0x08000000}
_LOW_NIBBLE = bytes(value & 0x0F for value in range(256))


class FatTable:
    """A volume's table, read through a small cache."""

    def __init__(self, source: Source, geometry: Geometry) -> None:
        self._source = source
        self._geometry = geometry
        self._mask = _MASK[geometry.fat_type]
        self._end = geometry.cluster_count + 2
        self._code = "I" if geometry.fat_type == 32 else "H"
        self._all_free = array(self._code, [0]) * PIECE
        self._zeros = self._all_free.tobytes()
        self._pieces: dict[int, array[int]] = {}

    def entry(self, cluster: int) -> int:
        """The table's value for `cluster`. FormatError where the volume ends before it."""
        piece, at = self._find(cluster)
        return piece[at] & self._mask

    def follow(self, cluster: int) -> int | None:
        """The cluster after `cluster`, None at the chain's end. FormatError when the chain is damaged."""
        value = self.entry(cluster)
        if 2 <= value < self._end:
            return value
        if value >= self._mask - 7:
            return None
        raise FormatError(
            f"the cluster chain {self._what(value)} after cluster {cluster} (FAT entry {value:#x})"
        )

    def _what(self, value: int) -> str:
        if value == 0:
            return "is marked free"
        return "is marked bad" if value == self._mask - 8 else "leaves the volume"

    def is_unused(self, cluster: int) -> bool:
        """Whether the table calls `cluster` free or bad."""
        return self.entry(cluster) in (0, self._mask - 8)

    def run(self, cluster: int, most: int) -> int:
        """How many clusters of a chain, from `cluster` on and at most `most`, lie side by side."""
        start, last = cluster, min(cluster + most, self._end) - 1
        while cluster < last:
            piece, at = self._find(cluster)
            for value in piece[at : at + last - cluster]:
                cluster += 1
                if value != cluster:
                    return cluster - start
        return cluster - start + 1

    def first_used(self, cluster: int, stop: int) -> int:
        """The first cluster that isn't free, from `cluster` on but before `stop`; else `stop`."""
        while cluster < stop:
            piece, at = self._find(cluster)
            if piece is not self._all_free:
                rest = piece[at:].tobytes()
                at += (len(rest) - len(rest.lstrip(b"\0"))) // piece.itemsize
                if at < len(piece) and piece[at] & self._mask:
                    return min(stop, cluster - cluster % PIECE + at)
                # An entry of which only reserved bits are set is free too.
                cluster = cluster - cluster % PIECE + min(at + 1, len(piece))
            else:
                cluster += len(piece) - at
        return stop

    def is_clean(self) -> bool:
        """What entry 1 says: the volume was unmounted cleanly. Always true of FAT12, which cannot say it."""
        flag = _CLEAN[self._geometry.fat_type]
        return flag == 0 or bool(self.entry(1) & flag)

    def count_free(self) -> int:
        """How many clusters are free, by reading the whole table."""
        return sum(len(piece) if piece is self._all_free else _zeros(piece) for piece in self._all())

    def count_bad(self) -> int:
        """How many clusters are marked bad, by reading the whole table."""
        mark = self._mask - 8
        raw = mark.to_bytes(self._all_free.itemsize, sys.byteorder)
        return sum(piece.count(mark) for piece in self._all() if raw in piece.tobytes())

    def _all(self) -> "Iterator[array[int]]":
        """The whole table, piece by piece; reserved bits are kept."""
        cluster = 2
        while cluster < self._end:
            piece, at = self._find(cluster)
            part = piece if at == 0 and cluster + PIECE <= self._end else piece[at : at + self._end - cluster]
            yield part
            cluster += len(part)

    def _find(self, cluster: int) -> "tuple[array[int], int]":
        number, at = divmod(cluster, PIECE)
        piece = self._pieces.get(number)
        if piece is None:
            piece = self._load(number)
        if at >= len(piece):
            raise FormatError(f"the volume ends before its FAT's entry {cluster}")
        return piece, at

    def _load(self, number: int) -> "array[int]":
        piece = self._read(number * PIECE)
        if len(self._pieces) >= _MAX_PIECES:
            self._pieces.pop(next(iter(self._pieces)))
        self._pieces[number] = piece
        return piece

    def _read(self, first: int) -> "array[int]":
        kind, geometry = self._geometry.fat_type, self._geometry
        offset = first * kind // 8
        length = min(PIECE * kind // 8, geometry.fat_size - offset)
        data = self._source.read(geometry.fat_offset + offset, max(0, length))
        if data == self._zeros:
            return self._all_free
        return _entries12(data) if kind == 12 else _entries(self._code, data)


def _zeros(values: "array[int]") -> int:
    """How many are 0, the reserved bits apart. The bytes of each number are laid over each other: counting
    them one by one takes five times as long.
    """
    raw, width = values.tobytes(), values.itemsize
    folded = 0
    for place in range(width):
        plane = raw[place::width]
        if width == 4 and place == (3 if sys.byteorder == "little" else 0):
            plane = plane.translate(_LOW_NIBBLE)
        folded |= int.from_bytes(plane, "little")
    used = folded.to_bytes(len(values), "little").translate(None, b"\0")
    return len(values) - len(used)


def _entries(code: str, data: bytes) -> "array[int]":
    """Little-endian numbers of 16 ("H") or 32 bits ("I")."""
    values = array(code)
    values.frombytes(data[: len(data) - len(data) % values.itemsize])
    if sys.byteorder == "big":
        values.byteswap()
    return values


def _entries12(data: bytes) -> "array[int]":
    """Two numbers in three bytes, the first in the lower half."""
    values = array("H")
    for at in range(0, len(data) - 1, 3):
        three = int.from_bytes(data[at : at + 3], "little")
        values.append(three & 0xFFF)
        if at + 3 <= len(data):
            values.append(three >> 12)
    return values
