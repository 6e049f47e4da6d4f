"""Listings of a FAT volume's folders: read by cluster chain, within limits, and kept while there is room.

A folder is a chain of clusters; on FAT12 and FAT16 the root is a stretch of fixed size before the clusters
(FAT specification 1.03, "Directory Structure"). See `fat_folder` for what lies in it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from . import FormatError, fat_name
from .fat_boot import SLOT, Geometry
from .fat_folder import FOLDER, Slot, SlotParser
from .fat_limit import Budget, OverLimit, Problems
from .fat_table import FatTable
from .reader import Source

ROOT = "\\"
# The most that Linux accepts: 65,536 slots a folder.
_MAX_FOLDER_BYTES = 65536 * SLOT
_MAX_CACHED_SLOTS = 65536
# Most folders are small, however large a cluster is: read a little first.
_FIRST_BYTES = 4096
_MOST_BYTES = 32768


class Entry(NamedTuple):
    """A file or folder. `path` has backslashes, a leading one included, spelled as on the volume; `size` in
    bytes; `time` local, "YYYY-MM-DDTHH:MM:SS" or ""; `alias` the 8.3 name.
    """

    path: str
    size: int
    time: str
    is_folder: bool
    alias: str
    first_cluster: int


@dataclass(slots=True)
class Folder:
    """A folder's listing: each name once. `damaged`: not known in full; `label`: the volume's, as stored."""

    slots: list[Slot] = field(default_factory=list)
    label: bytes | None = None
    damaged: bool = False
    _by_name: dict[str, Slot] = field(default_factory=dict)

    def add(self, slots: list[Slot], problems: Problems) -> None:
        """Drivers only ever reach the first of equal names."""
        for slot in slots:
            if self._by_name.setdefault(fat_name.fold(slot.name), slot) is slot:
                self.slots.append(slot)
            else:
                problems.add(f"{slot.name}: a second entry of this name, which nothing can reach")

    def find(self, name: str) -> Slot | None:
        """By long name or alias, upper and lower case alike; a long name wins over another file's alias."""
        folded = fat_name.fold(name)
        return self._by_name.get(folded) or next(
            (slot for slot in self.slots if fat_name.fold(slot.alias) == folded), None
        )


class Tree:
    """Reads folders. `problems`, `damaged_paths` and, among those, `limited_paths` grow meanwhile."""

    def __init__(self, source: Source, geometry: Geometry, table: FatTable) -> None:
        self._source = source
        self._geometry = geometry
        self._table = table
        self._cache: dict[int, Folder] = {}
        self._cached_slots = 0
        self.problems = Problems()
        self.damaged_paths: set[str] = set()
        self.limited_paths: set[str] = set()

    def damage(self, path: str, text: str) -> None:
        self.damaged_paths.add(path)
        self.problems.add(f"{path}: {text}")

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
        folder = self._cache.get(first_cluster)
        if folder is None:
            folder = self._read(path, first_cluster, budget)
            # What was too much this time need not be so the next.
            if path not in self.limited_paths:
                self._keep(first_cluster, folder)
        if folder.damaged:
            self.damaged_paths.add(path)
        return folder

    def _keep(self, first_cluster: int, folder: Folder) -> None:
        while self._cache and self._cached_slots + len(folder.slots) + 1 > _MAX_CACHED_SLOTS:
            dropped = self._cache.pop(next(iter(self._cache)))
            self._cached_slots -= len(dropped.slots) + 1
        self._cache[first_cluster] = folder
        self._cached_slots += len(folder.slots) + 1

    def _read(self, path: str, first_cluster: int, budget: Budget) -> Folder:
        parser = SlotParser(wide_clusters=self._geometry.fat_type == 32)
        folder = Folder()
        try:
            budget.enter(path)
            for block in self.blocks(first_cluster):
                count = parser.count
                if path != ROOT and count == 0 and not _begins_with_dot(block):
                    folder.damaged = True
                    self.damage(path, f"cluster {first_cluster} does not hold a folder's beginning")
                slots = parser.feed(block)
                folder.add(slots, parser.problems)
                budget.spend(path, parser.count - count, len(slots))
                if parser.ended:
                    break
            parser.finish()
        except OverLimit as error:
            folder.damaged = True
            self.limit(path, error)
        except FormatError as error:
            folder.damaged = True
            self.damage(path, str(error))
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
            if cluster in seen:
                raise FormatError(f"the cluster chain runs in a circle at cluster {cluster}")
            if len(seen) * geometry.cluster_size >= _MAX_FOLDER_BYTES:
                raise FormatError(f"longer than {_MAX_FOLDER_BYTES} bytes, the most that a folder can have")
            seen.add(cluster)
            yield from self._stretch(geometry.cluster_offset(cluster), geometry.cluster_size)
            cluster = self._table.follow(cluster)

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
