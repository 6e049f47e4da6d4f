"""Which file holds which cluster of a FAT volume (FAT specification 1.03, "FAT Data Structure").

Every cluster is followed once: where a chain meets a cluster that is held already, it is left.
"""

from array import array
from bisect import bisect_right

from . import FormatError
from .fat_boot import Geometry
from .fat_limit import OverLimit, Problems
from .fat_table import FatTable

# One byte is held for each cluster, and eight for each stretch of clusters.
_MAX_CLUSTERS = 32 << 20
_MAX_STRETCHES = 120_000


class Chains:
    """Follows chains and notes what is wrong with them. `used`: clusters held, without those that the FAT
    calls free or bad.
    """

    def __init__(self, geometry: Geometry, table: FatTable, problems: Problems) -> None:
        self._geometry = geometry
        self._table = table
        self._problems = problems
        self._paths: list[str] = []
        self._held = bytearray(min(geometry.cluster_count, _MAX_CLUSTERS) + 2)
        self._starts = array("I")
        self._owners = array("I")
        self._meetings: list[tuple[int, int]] = []
        self.used = 0

    def add(self, path: str, first: int, size: int | None) -> None:
        """Follow the chain of a file of `size` bytes, or of a folder (None), from its first cluster on.
        OverLimit when there is too much to follow.
        """
        if self._geometry.cluster_count > _MAX_CLUSTERS:
            raise OverLimit(f"more than {_MAX_CLUSTERS} clusters: cluster chains were not followed")
        self._paths.append(path)
        if first == 0 and not size:
            return
        if not self._geometry.is_cluster(first):
            self._problems.add_of(path, f"first cluster {first} is not on the volume")
            return
        try:
            count = self._follow(first)
        except OverLimit:
            raise
        except FormatError as error:
            self._problems.add_of(path, str(error))
            return
        if count is not None and size is not None:
            self._compare(path, count, size)

    def _compare(self, path: str, count: int, size: int) -> None:
        needed = -(-size // self._geometry.cluster_size)
        if count != needed:
            self._problems.add_of(path, f"{size} bytes need {needed} clusters, the cluster chain has {count}")

    def _follow(self, first: int) -> int | None:
        """How many clusters the chain has; None if it meets another chain or itself."""
        cluster: int | None = first
        length = 0
        while cluster is not None:
            # A chain can run into a stretch that is held only at its beginning, so this is cheap.
            count = 1 if self._held[cluster] else self._table.run(cluster, self._geometry.cluster_count)
            met = self._held.find(1, cluster, cluster + count)
            if met >= 0:
                self._meetings.append((met, len(self._paths) - 1))
                self._hold(cluster, met - cluster)
                return None
            self._hold(cluster, count)
            length += count
            cluster = self._step(cluster + count - 1)
        return length

    def _step(self, cluster: int) -> int | None:
        try:
            return self._table.follow(cluster)
        except FormatError:
            if self._table.is_unused(cluster):
                self.used -= 1
            raise

    def _hold(self, start: int, count: int) -> None:
        if count == 0:
            return
        if len(self._starts) >= _MAX_STRETCHES:
            raise OverLimit(f"files lie in more than {_MAX_STRETCHES} pieces: the rest was not followed")
        self._held[start : start + count] = b"\1" * count
        self._starts.append(start)
        self._owners.append(len(self._paths) - 1)
        self.used += count

    def name_shared(self) -> None:
        """Say of each chain that met another one which that is."""
        if not self._meetings:
            return
        order = sorted(range(len(self._starts)), key=self._starts.__getitem__)
        starts = [self._starts[place] for place in order]
        for cluster, owner in self._meetings:
            holder = self._owners[order[bisect_right(starts, cluster) - 1]]
            path = self._paths[owner]
            if holder == owner:
                self._problems.add_of(path, f"the cluster chain runs in a circle at cluster {cluster}")
            else:
                self._problems.add_of(path, f"shares cluster {cluster} with {self._paths[holder]}")
