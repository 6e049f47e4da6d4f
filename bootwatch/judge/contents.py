"""Whose program a file is, told by its content: a default file is mostly a copy of a system's own loader."""

from __future__ import annotations

from dataclasses import dataclass, field

from bootwatch.judge.home import Home
from bootwatch.judge.likeness import cleaned
from bootwatch.model.path import fold
from bootwatch.model.volume import File

_KINDS = ("product", "description", "os")


@dataclass
class Contents:
    """Programs by their SHA-256, and by what they call themselves.

    What lies on a stick and what lies on fixed disks are never compared with each other: the stick that a
    system was installed from holds that system's loader, and is another system.
    """

    _hashes: dict[tuple[bool, str], dict[Home, int]] = field(default_factory=dict)
    _names: dict[tuple[bool, str, str], dict[Home, int]] = field(default_factory=dict)

    def add(self, home: Home, file: File, glance: int) -> None:
        """A program of a home, seen in that glance."""
        if file.program is None:
            return
        if file.sha256:
            self._hashes.setdefault((home.removable, file.sha256), {}).setdefault(home, glance)
        for kind, name in _named(file):
            self._names.setdefault((home.removable, kind, name), {}).setdefault(home, glance)

    def homes_of(self, file: File, removable: bool, last: int) -> list[Home]:
        """The homes that held the same program first, as far as was known by the state ``last``."""
        return _first(self._hashes.get((removable, file.sha256 or ""), {}), last)

    def homes_named_like(self, file: File, removable: bool, last: int) -> list[Home]:
        """The homes that first held a program which calls itself as this one does; likewise."""
        found = (self._names.get((removable, *name), {}) for name in _named(file))
        return next((homes for one in found if (homes := _first(one, last))), [])


def _first(found: dict[Home, int], last: int) -> list[Home]:
    first = min(found.values(), default=0)
    return [home for home, glance in found.items() if glance == first] if first <= last else []


def _named(file: File) -> list[tuple[str, str]]:
    names = file.program.names if file.program else {}
    return [(kind, fold(cleaned(names[kind]))) for kind in _KINDS if cleaned(names.get(kind))]
