"""What does not add up on a FAT volume, all of it: costs a pass over the FATs and all folders.

By FAT specification 1.03: "Boot Sector and BPB" (size, the boot sector's copy on FAT32, which FAT is in use),
"FAT Data Structure" (copies alike; each chain as long as its file's size says, on the volume, ended, shared
with no other; no cluster in use by nothing), "FSInfo" (the number of free clusters), "Directory Structure"
("." leads to the folder itself, ".." to the one above).
"""

from collections.abc import Iterable

from . import FormatError, fat_boot
from .fat_boot import SLOT, Geometry
from .fat_chains import Chains
from .fat_folder import FOLDER, SHORT, Entry
from .fat_limit import OverLimit, Problems
from .fat_table import FatTable
from .fat_tree import ROOT, Tree
from .reader import Source

_MAX_COMPARED = 256 << 20
_PIECE = 1 << 16


class Check:
    """Compares what boot sector, FATs and folders say."""

    def __init__(self, source: Source, geometry: Geometry, table: FatTable, tree: Tree) -> None:
        self._source = source
        self._geometry = geometry
        self._table = table
        self._tree = tree
        self._problems = Problems()

    def run(self, entries: Iterable[Entry], recorded_free: int | None) -> list[str]:
        """Problems as sentences: the volume's first, then those of its files, then those of walking it."""
        self._size()
        self._boot_copy()
        self._copies()
        try:
            free = self._table.count_free()
            if recorded_free not in (None, free):
                self._problems.add(
                    f"the free-space record says {recorded_free} free clusters, there are {free}"
                )
            self._files(entries, self._geometry.cluster_count - free - self._table.count_bad())
        except FormatError as error:
            self._problems.add(str(error))
        return [*self._problems.found, *self._tree.problems.found]

    def _size(self) -> None:
        if self._geometry.size > self._source.size:
            self._problems.add(
                f"the boot sector says that the volume has {self._geometry.size} bytes, "
                f"it ends at byte {self._source.size}"
            )

    def _boot_copy(self) -> None:
        if not self._geometry.backup_offset:
            return
        first = bytearray(self._source.read(0, fat_boot.SIZE))
        copy = bytearray(self._source.read(self._geometry.backup_offset, fat_boot.SIZE))
        if len(copy) == len(first):
            # Only the first is marked while the volume is in use.
            copy[fat_boot.STATE32_AT] = first[fat_boot.STATE32_AT]
        at = _first_difference(first, copy)
        if at is not None:
            self._problems.add(
                f"the boot sector's copy at byte {self._geometry.backup_offset} differs from it at byte {at}"
            )

    def _copies(self) -> None:
        geometry = self._geometry
        if geometry.active_fat is not None:
            self._problems.add(
                f"only FAT copy {geometry.active_fat + 1} is kept up to date, "
                "but Linux and firmware use the first"
            )
            return
        length = min(geometry.fat_size, -(-(geometry.cluster_count + 2) * geometry.fat_type // 8))
        budget = _MAX_COMPARED
        for number in range(1, geometry.fat_copies):
            budget -= length
            if budget < 0:
                self._problems.add(f"limit: FAT copies from {number + 1} on were not compared")
                return
            at = self._copy_differs(number, length)
            if at is not None:
                cluster = at * 8 // geometry.fat_type
                self._problems.add(f"FAT copy {number + 1} differs from the first at cluster {cluster}")

    def _copy_differs(self, number: int, length: int) -> int | None:
        """Byte of the table where the copy differs first; None if it doesn't."""
        start = self._geometry.fat_offset
        copy = start + number * self._geometry.fat_size
        for at in range(0, length, _PIECE):
            size = min(_PIECE, length - at)
            found = _first_difference(self._source.read(start + at, size), self._source.read(copy + at, size))
            if found is not None:
                return at + found
        return None

    def faults(self, entries: Iterable[Entry]) -> dict[str, str]:
        """The first problem of each file and folder whose clusters do not add up, by path; without a look at
        the FAT's copies and at free space."""
        self._chains(entries)
        return self._tree.problems.by_path | self._problems.by_path

    def _files(self, entries: Iterable[Entry], used: int) -> None:
        """Every chain; then what is in use without one."""
        held = self._chains(entries)
        if held is not None and not self._tree.limited_paths and used != held:
            count = used - held
            self._problems.add(f"{count} cluster{'s'[: count > 1]} in use by no file that can be seen")

    def _chains(self, entries: Iterable[Entry]) -> int | None:
        """How many clusters all chains together hold; None where there is too much to follow."""
        chains = Chains(self._geometry, self._table, self._problems)
        folders = {ROOT: 0}
        try:
            if self._geometry.root_cluster:
                chains.add(ROOT, self._geometry.root_cluster, None)
            for entry in entries:
                if entry.is_folder:
                    folders[entry.path] = entry.first_cluster
                    self._dots(entry, folders[entry.path.rpartition("\\")[0] or ROOT])
                chains.add(entry.path, entry.first_cluster, None if entry.is_folder else entry.size)
        except OverLimit as error:
            self._problems.add(f"limit: {error}")
            return None
        finally:
            chains.name_shared()
        return chains.used

    def _dots(self, folder: Entry, parent: int) -> None:
        """A folder's first two entries; the one for the folder above says 0 when that is the root."""
        if not self._geometry.is_cluster(folder.first_cluster):
            return
        data = self._source.read(self._geometry.cluster_offset(folder.first_cluster), 2 * SLOT)
        for at, name, expected in ((0, b".", folder.first_cluster), (SLOT, b"..", parent)):
            if len(data) < 2 * SLOT:
                return
            stored, attributes, _, high, _, _, low, _ = SHORT.unpack_from(data, at)
            cluster = low | high << 16 if self._geometry.fat_type == 32 else low
            if stored != name.ljust(11) or not attributes & FOLDER:
                self._problems.add_of(folder.path, f"its entry {at // SLOT + 1} is not “{name.decode()}”")
            elif cluster != expected and not (parent == 0 and at and self._tree.is_root(cluster)):
                self._problems.add_of(
                    folder.path, f"its “{name.decode()}” leads to cluster {cluster}, not {expected}"
                )


def _first_difference(first: bytes | bytearray, second: bytes | bytearray) -> int | None:
    if first == second:
        return None
    pairs = enumerate(zip(first, second, strict=False))
    return next((at for at, (one, other) in pairs if one != other), min(len(first), len(second)))
