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
    _names: dict[tuple[bool, str, str], set[Home]] = field(default_factory=dict)

    def add(self, home: Home, file: File, glance: int) -> None:
        """A program of a home, seen in that glance."""
        if file.program is None:
            return
        if file.sha256:
            self._hashes.setdefault((home.removable, file.sha256), {}).setdefault(home, glance)
        for kind, name in _named(file):
            self._names.setdefault((home.removable, kind, name), set()).add(home)

    def homes_of(self, file: File, removable: bool) -> list[Home]:
        """The homes that held the same program first."""
        found = self._hashes.get((removable, file.sha256 or ""), {})
        first = min(found.values(), default=0)
        return [home for home, glance in found.items() if glance == first]

    def homes_named_like(self, file: File, removable: bool) -> list[Home]:
        """The homes whose programs call themselves as this one does."""
        for kind, name in _named(file):
            found = self._names.get((removable, kind, name))
            if found:
                return list(found)
        return []


def _named(file: File) -> list[tuple[str, str]]:
    names = file.program.names if file.program else {}
    return [(kind, fold(cleaned(names[kind]))) for kind in _KINDS if cleaned(names.get(kind))]
