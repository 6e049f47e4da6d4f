"""One file of a FAT volume as a seekable reader that streams: it holds a position, never the content.

A file is a chain of clusters (FAT specification 1.03, "FAT Data Structure"); its size, in its folder, says
where in the last one it ends.
"""

import io
from bisect import bisect_right

from . import FormatError
from .fat_boot import Geometry
from .fat_limit import MAX_PIECES, OverLimit
from .fat_table import FatTable
from .reader import Source

# How many jumps lie between two places of a chain that are remembered, for going back.
_REMEMBERED = 1024


class FatFile(io.RawIOBase):
    """Reads a file by its cluster chain. FormatError where the chain is damaged; OSError passes through."""

    def __init__(
        self, source: Source, geometry: Geometry, table: FatTable, path: str, first_cluster: int, size: int
    ) -> None:
        super().__init__()
        self._source = source
        self._geometry = geometry
        self._chain = _Chain(geometry, table, first_cluster)
        self._path = path
        self.size = size
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self.size}[whence]
        if base + offset < 0:
            raise ValueError(f"negative position {base + offset}")
        self._at = base + offset
        return self._at

    def read(self, size: int | None = -1, /) -> bytes:
        """Up to `size` bytes; fewer only at the end of the file."""
        left = max(0, self.size - self._at)
        wanted = left if size is None or size < 0 else min(size, left)
        parts = []
        while wanted > 0:
            offset, length = self._stretch(wanted)
            part = self._source.read(offset, length)
            self._advance(len(part), length)
            parts.append(part)
            wanted -= length
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def readall(self) -> bytes:
        return self.read(-1)

    def readinto(self, buffer: "memoryview | bytearray", /) -> int:  # type: ignore[override]
        view = memoryview(buffer).cast("B")
        wanted = min(len(view), max(0, self.size - self._at))
        done = 0
        while done < wanted:
            offset, length = self._stretch(wanted - done)
            self._advance(self._source.read_into(offset, view[done : done + length]), length)
            done += length
        return done

    def _stretch(self, wanted: int) -> tuple[int, int]:
        """Where the next bytes lie on the volume, and how many, at most `wanted`, lie side by side."""
        size = self._geometry.cluster_size
        inside = self._at % size
        try:
            cluster, count = self._chain.stretch(self._at // size, -(-(inside + wanted) // size))
        except OverLimit as error:
            raise OverLimit(f"{self._path}: at byte {self._at} of {self.size}: {error}") from None
        except FormatError as error:
            raise FormatError(f"{self._path}: at byte {self._at} of {self.size}: {error}") from None
        return self._geometry.cluster_offset(cluster) + inside, min(wanted, count * size - inside)

    def _advance(self, had: int, length: int) -> None:
        if had < length:
            raise FormatError(f"{self._path}: the volume ends at byte {self._at + had} of {self.size}")
        self._at += length


class _Chain:
    """A cursor on a cluster chain. Keeps a position and a few former ones, so that memory stays small."""

    def __init__(self, geometry: Geometry, table: FatTable, first: int) -> None:
        self._geometry = geometry
        self._table = table
        # Places along the chain, in order: the file's cluster number, which cluster it is, jumps before it.
        self._indexes = [0]
        self._places = [(first, 0)]
        self._restart(0)

    def stretch(self, index: int, most: int) -> tuple[int, int]:
        """The file's cluster number `index`, and how many from there on (at most `most`) lie side by side."""
        self._go_to(index)
        start = self._cluster
        count = self._table.run(start, most)
        self._index += count - 1
        self._cluster += count - 1
        return start, count

    def _go_to(self, index: int) -> None:
        if not self._geometry.is_cluster(self._cluster):
            raise FormatError(f"first cluster {self._cluster} is not on the volume")
        if index >= self._geometry.cluster_count:
            raise FormatError("longer than the volume")
        if index < self._index:
            self._restart(index)
        while self._index < index:
            beside = self._table.run(self._cluster, index - self._index + 1) - 1
            self._index += beside
            self._cluster += beside
            if self._index < index:
                self._jump()

    def _restart(self, index: int) -> None:
        """Go back to the last remembered place that is not beyond `index`."""
        place = bisect_right(self._indexes, index) - 1
        self._index = self._indexes[place]
        self._cluster, self._jumps = self._places[place]
        self._mark = self._cluster
        self._mark_until = self._jumps + 1

    def _jump(self) -> None:
        """Follow a link; a mark left behind at doubling distances is met again if the chain is a circle
        (Brent).
        """
        following = self._table.follow(self._cluster)
        if following is None:
            raise FormatError(f"the cluster chain ends after cluster {self._cluster}")
        if following == self._mark:
            raise FormatError(f"the cluster chain runs in a circle at cluster {following}")
        if self._jumps >= MAX_PIECES:
            raise OverLimit(f"in more than {MAX_PIECES} pieces: not followed further")
        self._cluster = following
        self._index += 1
        self._jumps += 1
        if self._jumps % _REMEMBERED == 0 and self._index > self._indexes[-1]:
            self._indexes.append(self._index)
            self._places.append((following, self._jumps))
        if self._jumps == self._mark_until:
            self._mark = following
            self._mark_until += self._jumps
