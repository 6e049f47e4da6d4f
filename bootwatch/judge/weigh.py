"""Which level a change has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

from bootwatch.model.change import Change
from bootwatch.model.level import Level
from bootwatch.model.path import fold

# Where a change took no route away: a safeguard is gone all the same, or nobody need hear of it.
_WEAKENED = (
    "volume-missing",
    "volume-reformatted",
    "partition-retyped",
    "partition-reidentified",
    "secure-boot-switched",
)
_ROUTINE = ("entry-renumbered", "entry-relabelled", "file-missing", "file-added", "file-changed")
_LEVELS = dict.fromkeys(_WEAKENED, Level.WEAKENED) | dict.fromkeys(_ROUTINE, Level.ROUTINE)


@dataclass(frozen=True)
class Rule:
    """A level that the config sets where everything that is given matches; ``path`` may hold * and ?."""

    level: Level
    change: str | None = None
    system: str | None = None
    path: str | None = None

    def matches(self, change: str, system: str | None, path: str) -> bool:
        return (
            self.change in (None, change)
            and (self.system is None or (system is not None and fold(self.system) == fold(system)))
            and (self.path is None or fnmatchcase(fold(path), fold(self.path)))
        )


@dataclass(frozen=True)
class Weights:
    """Levels by consequence, but for what the config moves: its first matching rule holds."""

    rules: Sequence[Rule] = ()

    def names(self, change: Change) -> bool:
        """Whether a rule of the settings holds for a change."""
        path = str(change.scope.get("path") or _file(change.before) or _file(change.after) or "")
        return any(rule.matches(change.change, change.system, path) for rule in self.rules)

    def level(self, change: str, system: str | None, path: str, found: Level | None = None) -> Level:
        """``path`` is the file's, "" for a change of something else. ``found`` is the level by consequence,
        None for a change that took nothing away: then its name decides."""
        rule = next((rule for rule in self.rules if rule.matches(change, system, path)), None)
        return rule.level if rule else found or _LEVELS.get(change, Level.CHANGED)


def _file(side: Any) -> Any:
    """The file that an entry names, of one side of a change."""
    return side.get("file") if isinstance(side, dict) else None
