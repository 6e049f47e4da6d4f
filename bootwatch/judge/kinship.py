"""Which places are one system: mirrored, moved, or left over from before it was moved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from bootwatch.judge.glance import Glance
from bootwatch.judge.home import Home
from bootwatch.judge.homes import Homes
from bootwatch.model.path import fold

# More places of one name than these are not compared with each other.
_MOST = 16


def groups(homes: Homes, also_one: Iterable[list[Home]] = ()) -> list[list[Home]]:
    """The homes by system, each group and the homes in it in the order in which they were first seen.

    ``also_one`` are homes that are one system because the settings say so.
    """
    leader: dict[Home, Home] = {}

    def top(home: Home) -> Home:
        while leader.get(home, home) is not home:
            home = leader[home]
        return home

    for kin in (*_kin(homes), *also_one):
        for home in kin[1:]:
            one, other = top(kin[0]), top(home)
            if one is not other:
                first, second = sorted((one, other), key=lambda each: each.first)
                leader[second] = first
    found: dict[Home, list[Home]] = {}
    for home in sorted(homes.all(), key=lambda each: each.first):
        found.setdefault(top(home), []).append(home)
    return list(found.values())


def _kin(homes: Homes) -> Iterator[list[Home]]:
    same_label: dict[str, list[Home]] = {}
    for home in homes.all():
        for label in home.labels:
            same_label.setdefault(fold(label), []).append(home)
    for named in same_label.values():
        if 1 < len(named) <= _MOST:
            for one, other in combinations(named, 2):
                if one.removable == other.removable and _is_one(homes.glances, one, other):
                    yield [one, other]


def _is_one(glances: list[Glance], one: Home, other: Home) -> bool:
    """Whether two homes with a label in common are one system.

    A system that moved: the one place was never there together with the other. An entry for a volume or
    folder that nobody has seen: what is left from before the system was installed again. A mirror: folders
    of the same name that held the same files when both were first seen.
    """
    same_folder = bool(one.folder) and one.folder == other.folder
    if not same_folder and one.volume != other.volume:
        return False
    if not one.glances & other.glances:
        return True
    if bool(one.seen) != bool(other.seen):
        return same_folder
    return same_folder and _are_mirrors(glances, one, other)


def _are_mirrors(glances: list[Glance], one: Home, other: Home) -> bool:
    for glance in glances:
        mine, its = _content(glance, one), _content(glance, other)
        if mine and its:
            return mine == its
    return False


def _content(glance: Glance, home: Home) -> dict[str, str | None]:
    files = glance.folders.get((home.volume, home.folder), {})
    return {folded: file.sha256 for folded, file in files.items()}
