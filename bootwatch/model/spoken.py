"""What a spoken code says: a few values, coarse enough to be read out over the phone."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

FORMAT = "bootwatch/heard/1"
OTHER_LETTER = "?"
# In the order in which bootwatch learnt them: a name's place here is its number in spoken codes. Codes are
# read by other versions than the one that made them, so names are only ever added, at the end.
NAMES = (
    *("entry-missing", "entry-added", "entry-inactive", "entry-retargeted", "entry-renumbered"),
    *("entry-relabelled", "entry-data-changed", "order-changed", "next-set", "timeout-changed"),
    *("volume-missing", "volume-added", "volume-reformatted", "partition-retyped", "partition-renumbered"),
    *("partition-reidentified", "loader-missing", "loader-added", "loader-changed", "loader-emptied"),
    *("file-missing", "file-added", "file-changed", "secure-boot-switched", "keys-changed"),
    *("firmware-updated", "volume-not-esp", "same-identifiers", "volume-nearly-full", "loaders-share-volume"),
    *("fstab-volume-missing", "volumes-disagree", "file-damaged", "removable-first", "next-left-behind"),
    *("order-without-variable", "lower-case-entry", "store-nearly-full", "capsule-waiting", "menu-not-shown"),
    *("unheard", "starts-unwatched", "no-way-left", "unseen", "restore-not-kept"),
)


class Standing(StrEnum):
    """How the machine stands against its baseline: the worst open level, or why there is none.

    The order is part of the code: only ever add at the end, up to the room that the code has.
    """

    QUIET = "nothing open"
    STRANDED = "stranded"
    DIVERTED = "diverted"
    WEAKENED = "weakened"
    CHANGED = "changed"
    NO_BASELINE = "no baseline"
    UNTOLD = "can't be told"


class Following(StrEnum):
    """What the next start leads to."""

    SYSTEM = "system"
    LIKELY_SYSTEM = "probably system"
    PROGRAM = "no known system"
    SETUP = "setup"
    NOTHING = "nothing"
    UNKNOWN = "not known"


class Kit(StrEnum):
    """Whether a recovery kit was put somewhere else than on the machine itself, and of which baseline.

    The order is part of the code: only ever add at the end, up to the room that the code has.
    """

    NONE = "none known"
    CURRENT = "of today's baseline"
    FORMER = "of a former baseline"


@dataclass(frozen=True)
class Spoken:
    """``system`` is the affected system's first letter and ``next_system`` that of the one that starts next:
    A to Z, ``OTHER_LETTER`` for what begins with none of these, "" for no system. ``name`` is the gravest
    change or finding, "" for none. ``day`` is the day of the look (UTC) modulo ``DAYS``, None where unknown.
    """

    standing: Standing
    system: str
    following: Following
    next_system: str
    name: str
    day: int | None
    kit: Kit = Kit.NONE

    def to_json(self) -> dict[str, Any]:
        """Without the day, of which only an age makes sense."""
        return {
            "format": FORMAT,
            "standing": self.standing.value,
            "system": self.system or None,
            "next_start": self.following.value,
            "next_system": self.next_system or None,
            "name": self.name or None,
            "kit": None if self.kit is Kit.NONE else self.kit.value,
        }
