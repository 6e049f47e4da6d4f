"""Which places are one system: mirrored, moved, or left over from before it was moved.

What are two systems in the baseline stay two, whatever today's state shows: else a system that is lost could
hide behind another one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from bootwatch.judge.glance import Glance
from bootwatch.judge.home import Home
from bootwatch.judge.homes import Homes
from bootwatch.model.path import fold

# More places of one name than these are not compared with each other.
_MOST = 16


class _Kin:
    """Homes that were found to be one system; each such set is led by what was known first."""

    def __init__(self) -> None:
        self._leader: dict[Home, Home] = {}
        self.attached: set[Home] = set()

    def leader(self, home: Home) -> Home:
        while home in self._leader:
            home = self._leader[home]
        return home

    def unite(self, one: Home, other: Home) -> None:
        first, second = sorted((self.leader(one), self.leader(other)), key=lambda home: home.order)
        if first is not second:
            self._leader[second] = first
            self.attached |= {first, second}


def groups(homes: Homes, joined: Iterable[list[Home]] = ()) -> list[list[Home]]:
    """The homes by system, each group and the homes in it in the order in which they were first known.

    ``joined`` are homes that are one system because the settings say so.
    """
    kin = _Kin()
    pairs = list(_namesakes(homes))
    for one, other in pairs:
        if _are_together(homes.glances, one, other):
            kin.unite(one, other)
    for named in joined:
        for home in named[1:]:
            kin.unite(named[0], home)
    for one, other in sorted(pairs, key=lambda pair: (pair[0].order, pair[1].order)):
        if _has_moved(one, other) and other not in kin.attached:
            kin.unite(one, other)
    found: dict[Home, list[Home]] = {}
    for home in sorted(homes.all(), key=lambda each: each.order):
        found.setdefault(kin.leader(home), []).append(home)
    return list(found.values())


def _namesakes(homes: Homes) -> Iterator[tuple[Home, Home]]:
    """Pairs that have a label in common, and the folder's name or the volume; the older one first."""
    same_label: dict[str, list[Home]] = {}
    for home in sorted(homes.all(), key=lambda each: each.order):
        for label in dict.fromkeys(map(fold, home.labels)):
            same_label.setdefault(label, []).append(home)
    for named in same_label.values():
        if len(named) <= _MOST:
            for one, other in combinations(named, 2):
                is_near = one.volume == other.volume or _same_folder(one, other)
                if is_near and one.removable == other.removable:
                    yield one, other


def _same_folder(one: Home, other: Home) -> bool:
    return bool(one.folder) and one.folder == other.folder


def _are_together(glances: list[Glance], one: Home, other: Home) -> bool:
    """Whether two folders of one name, both there in one state, are one system: a mirror, which holds the
    same files; or an entry for a folder or volume that isn't there, left from before the system was installed
    again. The first such state decides."""
    common = one.glances & other.glances
    if not common or not _same_folder(one, other):
        return False
    first = min(common)
    labels = [{fold(label) for _, label in home.ranked_labels(first)} for home in (one, other)]
    if not labels[0] & labels[1]:
        return False
    if (first in one.seen) != (first in other.seen):
        return True
    mine, its = _content(glances[first], one), _content(glances[first], other)
    return bool(mine) and mine == its


def _has_moved(one: Home, other: Home) -> bool:
    """Whether a system moved from one place to the other: they were never there together."""
    return not one.glances & other.glances


def _content(glance: Glance, home: Home) -> dict[str, str | None]:
    files = glance.folders.get((home.volume, home.folder), {})
    return {folded: file.sha256 for folded, file in files.items()}
