"""Listings of a FAT volume's folders: read by cluster chain, within limits, and kept while there is room.

A folder is a chain of clusters; on FAT12 and FAT16 the root is a stretch of fixed size before the clusters
(FAT specification 1.03, "Directory Structure"). See `fat_folder` for what lies in it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from . import FormatError, fat_name
from .fat_boot import SLOT, Geometry
from .fat_folder import FOLDER, Entry, SlotParser
from .fat_limit import Budget, OverLimit, Problems
from .fat_table import FatTable
from .reader import Source

ROOT = "\\"
# The most that Linux accepts: 65,536 slots a folder.
_MAX_FOLDER_BYTES = 65536 * SLOT
_MAX_CACHED_ENTRIES = 65536
# Most folders are small, however large a cluster is: read a little first.
_FIRST_BYTES = 4096
_MOST_BYTES = 32768


@dataclass(slots=True)
class Folder:
    """A folder's listing: each name once. `damaged`: not known in full; `label`: the volume's, as stored."""

    entries: list[Entry] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    label: bytes | None = None
    damaged: bool = False
    _by_name: dict[str, Entry] | None = None

    def find(self, name: str) -> Entry | None:
        """By long name or alias, upper and lower case alike; a long name wins over another file's alias."""
        if self._by_name is None:
            self._by_name = dict(zip(map(fat_name.fold, self.names), self.entries, strict=True))
            for entry in self.entries:
                self._by_name.setdefault(fat_name.fold(entry.alias), entry)
        return self._by_name.get(fat_name.fold(name))

    def drop_doubles(self, problems: Problems) -> None:
        """Drivers only ever reach the first of equal names."""
        if len(set(map(fat_name.fold, self.names))) == len(self.names):
            return
        seen: set[str] = set()
        kept = []
        for entry, name in zip(self.entries, self.names, strict=True):
            if (folded := fat_name.fold(name)) in seen:
                problems.add(f"{name}: a second entry of this name, which nothing can reach")
            else:
                seen.add(folded)
                kept.append((entry, name))
        self.entries, self.names = [entry for entry, _ in kept], [name for _, name in kept]


class Tree:
    """Reads folders. `problems`, `damaged_paths` and, among those, `limited_paths` grow meanwhile."""

    def __init__(self, source: Source, geometry: Geometry, table: FatTable) -> None:
        self._source = source
        self._geometry = geometry
        self._table = table
        self._cache: dict[tuple[str, int], Folder] = {}
        self._cached = 0
        self.problems = Problems()
        self.damaged_paths: set[str] = set()
        self.limited_paths: set[str] = set()

    def damage(self, path: str, text: str) -> None:
        self.damaged_paths.add(path)
        self.problems.add_of(path, text)

    def limit(self, path: str, error: OverLimit) -> None:
        """Said once: the paths are in `limited_paths`."""
        self.damaged_paths.add(path)
        self.limited_paths.add(path)
        self.problems.add(f"limit: {error}")

    def is_root(self, cluster: int) -> bool:
        """Whether a folder's first cluster means the root folder."""
        return cluster in (0, self._geometry.root_cluster)

    def folder(self, path: str, first_cluster: int, budget: Budget) -> Folder:
        """The listing of the folder at `path`; `first_cluster` 0 is the root."""
        if path != ROOT and self.is_root(first_cluster):
            self.damage(path, f"leads to cluster {first_cluster}, which is the root folder's")
            return Folder(damaged=True)
        folder = self._cache.get((path, first_cluster))
        if folder is None:
            folder = self._read(path, first_cluster, budget)
            # What was too much this time need not be so the next.
            if path not in self.limited_paths:
                self._keep((path, first_cluster), folder)
        if folder.damaged:
            self.damaged_paths.add(path)
        return folder

    def _keep(self, key: tuple[str, int], folder: Folder) -> None:
        size = len(folder.entries) + 1
        while self._cache and self._cached + size > _MAX_CACHED_ENTRIES:
            dropped = self._cache.pop(next(iter(self._cache)))
            self._cached -= len(dropped.entries) + 1
        self._cache[key] = folder
        self._cached += size

    def _read(self, path: str, first_cluster: int, budget: Budget) -> Folder:
        parser = SlotParser(below(path), wide_clusters=self._geometry.fat_type == 32)
        folder = Folder(names=parser.names)
        try:
            budget.enter(path)
            for block in self.blocks(first_cluster):
                count = parser.count
                if path != ROOT and count == 0 and not _begins_with_dot(block):
                    folder.damaged = True
                    self.damage(path, f"cluster {first_cluster} does not hold a folder's beginning")
                entries = parser.feed(block)
                folder.entries += entries
                budget.spend(path, parser.count - count, len(entries))
                if parser.ended:
                    break
            parser.finish()
        except OverLimit as error:
            folder.damaged = True
            self.limit(path, error)
        except FormatError as error:
            folder.damaged = True
            self.damage(path, str(error))
        folder.drop_doubles(parser.problems)
        folder.label = parser.label
        for problem in parser.problems.found:
            self.problems.add(f"{path}: {problem}")
        return folder

    def blocks(self, first_cluster: int) -> Iterator[bytes]:
        """A folder's bytes, piece by piece. FormatError at the point where the chain is damaged."""
        geometry = self._geometry
        if first_cluster == 0 and geometry.fat_type != 32:
            if geometry.root_size == 0:
                raise FormatError("the boot sector leaves no room for the root folder")
            yield from self._stretch(geometry.root_offset, geometry.root_size)
            return
        cluster: int | None = first_cluster or geometry.root_cluster
        if not geometry.is_cluster(cluster or 0):
            raise FormatError(f"first cluster {cluster} is not on the volume")
        seen: set[int] = set()
        while cluster is not None:
            left = _MAX_FOLDER_BYTES // geometry.cluster_size - len(seen)
            if left <= 0:
                raise FormatError(f"longer than {_MAX_FOLDER_BYTES} bytes, the most that a folder can have")
            # Several clusters at a time where they lie side by side; never one that was read already.
            count = self._table.run(cluster, min(left, _MOST_BYTES // geometry.cluster_size or 1))
            count = next((place for place in range(count) if cluster + place in seen), count)
            if count == 0:
                raise FormatError(f"the cluster chain runs in a circle at cluster {cluster}")
            seen.update(range(cluster, cluster + count))
            yield from self._stretch(geometry.cluster_offset(cluster), count * geometry.cluster_size)
            cluster = self._table.follow(cluster + count - 1)

    def _stretch(self, offset: int, length: int) -> Iterator[bytes]:
        step = _FIRST_BYTES
        while length > 0:
            step = min(step, length)
            data = self._source.read(offset, step)
            if len(data) < step:
                raise FormatError(f"the volume ends at byte {offset + len(data)}")
            yield data
            offset += step
            length -= step
            step = min(2 * step, _MOST_BYTES)


def below(folder: str) -> str:
    """What the paths of a folder's entries begin with."""
    return ROOT if folder == ROOT else folder + "\\"


def _begins_with_dot(block: bytes) -> bool:
    return block[:11] == b".          " and bool(block[11] & FOLDER)
