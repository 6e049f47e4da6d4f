"""One file of a FAT volume as a seekable reader that streams: it holds a position, never the content."""

import io

from . import FormatError
from .fat_boot import Geometry
from .fat_table import FatTable
from .reader import Source


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
            part = self._extent(wanted)
            parts.append(part)
            self._at += len(part)
            wanted -= len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def readall(self) -> bytes:
        return self.read(-1)

    def readinto(self, buffer: "memoryview | bytearray", /) -> int:  # type: ignore[override]
        view = memoryview(buffer).cast("B")
        data = self.read(len(view))
        view[: len(data)] = data
        return len(data)

    def _extent(self, wanted: int) -> bytes:
        """Read what lies in one stretch of clusters, at most `wanted` bytes."""
        size = self._geometry.cluster_size
        inside = self._at % size
        try:
            cluster, count = self._chain.stretch(self._at // size, -(-(inside + wanted) // size))
        except FormatError as error:
            raise FormatError(f"{self._path}: at byte {self._at} of {self.size}: {error}") from None
        length = min(wanted, count * size - inside)
        data = self._source.read(self._geometry.cluster_offset(cluster) + inside, length)
        if len(data) < length:
            raise FormatError(f"{self._path}: the volume ends at byte {self._at + len(data)} of {self.size}")
        return data


class _Chain:
    """A cursor on a cluster chain. Keeps one position, so that memory stays small; going back starts anew."""

    def __init__(self, geometry: Geometry, table: FatTable, first: int) -> None:
        self._geometry = geometry
        self._table = table
        self._first = first
        self._restart()

    def stretch(self, index: int, most: int) -> tuple[int, int]:
        """The file's cluster number `index`, and how many from there on (at most `most`) lie side by side."""
        self._go_to(index)
        start, count = self._cluster, 1
        while count < most:
            following = self._table.follow(self._cluster)
            if following != self._cluster + 1:
                break
            self._step(following)
            count += 1
        return start, count

    def _go_to(self, index: int) -> None:
        if not self._geometry.is_cluster(self._first):
            raise FormatError(f"first cluster {self._first} is not on the volume")
        if index >= self._geometry.cluster_count:
            raise FormatError("longer than the volume")
        if index < self._index:
            self._restart()
        while self._index < index:
            following = self._table.follow(self._cluster)
            if following is None:
                raise FormatError(f"the cluster chain ends after cluster {self._cluster}")
            self._step(following)

    def _restart(self) -> None:
        self._index = 0
        self._cluster = self._first
        self._mark = self._first
        self._mark_until = 1

    def _step(self, following: int) -> None:
        """Move on; a mark left behind at doubling distances is met again if the chain is a circle (Brent)."""
        if following == self._mark:
            raise FormatError(f"the cluster chain runs in a circle at cluster {following}")
        self._cluster = following
        self._index += 1
        if self._index == self._mark_until:
            self._mark = following
            self._mark_until *= 2
