"""How much a change matters at the next switch-on."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum


class Level(StrEnum):
    """By consequence, worst first; the word is the same in the config, in JSON and in code."""

    STRANDED = "stranded"
    DIVERTED = "diverted"
    WEAKENED = "weakened"
    CHANGED = "changed"
    ROUTINE = "routine"

    @property
    def rank(self) -> int:
        """0 for the worst level, growing as it matters less."""
        return list(Level).index(self)

    def at_least(self, other: Level) -> bool:
        """Whether this level matters as much as ``other``, or more."""
        return self.rank <= other.rank


def worst(levels: Iterable[Level]) -> Level | None:
    """The level that matters most, or None where there is none."""
    return min(levels, key=lambda level: level.rank, default=None)
