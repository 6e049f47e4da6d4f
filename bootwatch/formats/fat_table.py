"""The file allocation table (FAT specification 1.03, "FAT Data Structure"): which cluster follows which.

Little-endian entries of 12, 16 or 32 bits (the top four reserved); 0 is free, the highest values end a chain.
Read in pieces as they are needed, from the first copy, which is the one that Linux and firmware read.
"""

import struct
from collections.abc import Iterator

from . import FormatError
from .fat_boot import Geometry
from .reader import Source

_PIECE = 1 << 16
_MAX_PIECES = 64
_ENTRY16 = struct.Struct("<H")
_ENTRY32 = struct.Struct("<I")
_MASK = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}
_CLEAN = {12: 0, 16: 0x8000, 32: 0x08000000}


class FatTable:
    """A volume's table, read through a small cache."""

    def __init__(self, source: Source, geometry: Geometry) -> None:
        self._source = source
        self._geometry = geometry
        self._pieces: dict[int, bytes] = {}
        self._mask = _MASK[geometry.fat_type]
        # A FAT12 entry can straddle two bytes anywhere, but the whole table is smaller than one piece.
        self._piece_size = _PIECE if geometry.fat_type != 12 else min(geometry.fat_size, _PIECE)

    def entry(self, cluster: int) -> int:
        """The table's value for `cluster`. FormatError where the volume ends before it."""
        kind = self._geometry.fat_type
        offset = cluster * kind // 8
        width = 4 if kind == 32 else 2
        base = offset - offset % self._piece_size
        piece = self._pieces.get(base) or self._load(base)
        at = offset - base
        if at + width > len(piece):
            raise FormatError(f"the volume ends before its FAT's entry {cluster}")
        if kind == 32:
            return int(_ENTRY32.unpack_from(piece, at)[0]) & self._mask
        value = int(_ENTRY16.unpack_from(piece, at)[0])
        if kind == 12 and cluster & 1:
            value >>= 4
        return value & self._mask

    def follow(self, cluster: int) -> int | None:
        """The cluster after `cluster`, None at the chain's end. FormatError when the chain is damaged."""
        value = self.entry(cluster)
        if self._geometry.is_cluster(value):
            return value
        if value >= self._mask - 7:
            return None
        what = (
            "is marked free"
            if value == 0
            else "is marked bad"
            if value == self._mask - 8
            else "leaves the volume"
        )
        raise FormatError(f"the cluster chain {what} after cluster {cluster} (FAT entry {value:#x})")

    def is_clean(self) -> bool:
        """What entry 1 says: the volume was unmounted cleanly. Always true of FAT12, which cannot say it."""
        flag = _CLEAN[self._geometry.fat_type]
        return flag == 0 or bool(self.entry(1) & flag)

    def count_free(self) -> int:
        """Count the free clusters by reading the whole table."""
        geometry = self._geometry
        if geometry.fat_type == 12:
            return sum(self.entry(cluster) == 0 for cluster in range(2, geometry.cluster_count + 2))
        width = geometry.fat_type // 8
        return sum(
            _zeros(piece, width) for piece in self._stream(2 * width, (geometry.cluster_count + 2) * width)
        )

    def _stream(self, start: int, end: int) -> Iterator[bytes]:
        while start < end:
            piece = self._source.read(self._geometry.fat_offset + start, min(_PIECE, end - start))
            if not piece:
                return
            yield piece
            start += len(piece)

    def _load(self, base: int) -> bytes:
        length = min(self._piece_size, self._geometry.fat_size - base)
        if length <= 0:
            return b""
        piece = self._source.read(self._geometry.fat_offset + base, length)
        if len(self._pieces) >= _MAX_PIECES:
            self._pieces.pop(next(iter(self._pieces)))
        self._pieces[base] = piece
        return piece


def _zeros(piece: bytes, width: int) -> int:
    count = len(piece) // width
    if piece.count(0) == len(piece):
        return count
    values = struct.unpack_from(f"<{count}{'H' if width == 2 else 'I'}", piece)
    if width == 4 and piece[3::4].translate(None, bytes(range(16))):
        return sum(value & 0x0FFFFFFF == 0 for value in values)
    return values.count(0)
