"""Whose a recovery kit is: how much of what it names is found on the machine that is looked at. Pure."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from bootwatch.judge.pairs import plain
from bootwatch.model.snapshot import State

SURE = 50
_DISKS, _PARTITIONS, _MAKER = 45, 35, 20


@dataclass(frozen=True)
class Match:
    """``disks`` and ``partitions``: how many of the kit's are here, and how many it names. ``is_same_model``:
    whether maker and model are equal, None where either isn't known."""

    disks: tuple[int, int]
    partitions: tuple[int, int]
    is_same_model: bool | None

    @property
    def points(self) -> int:
        """Of 100; what isn't known counts for nothing."""
        weighed = [(_DISKS, _share(self.disks)), (_PARTITIONS, _share(self.partitions))]
        model = None if self.is_same_model is None else float(self.is_same_model)
        known = [(weight, share) for weight, share in (*weighed, (_MAKER, model)) if share is not None]
        most = sum(weight for weight, _ in known)
        return round(100 * sum(weight * share for weight, share in known) / most) if most else 0

    @property
    def is_sure(self) -> bool:
        return self.points >= SURE

    @property
    def is_possible(self) -> bool:
        """Whether anything of its disks is here at all."""
        return bool(self.disks[0] or self.partitions[0])

    @property
    def words(self) -> str:
        """A clause."""
        model = {True: "the same", False: "others", None: "not known"}[self.is_same_model]
        disks, parts = (f"{found} of {named}" for found, named in (self.disks, self.partitions))
        return (
            f"{disks} disks and {parts} partitions are here, maker and model are {model}: "
            f"{self.points} of 100 points"
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "points": self.points,
            "disks": list(self.disks),
            "partitions": list(self.partitions),
            "same_model": self.is_same_model,
        }


def match(about: dict[str, Any], now: State) -> Match:
    """``about`` is what a kit says of itself, checked before."""
    disks = {plain(key) for key in now.disks}
    parts = {part.identifier for disk in now.disks.values() for part in disk.partitions}
    named = about["dmi"]["vendor"], about["dmi"]["product"]
    here = now.facts.get("vendor"), now.facts.get("product")
    is_known = all(named) and all(here)
    return Match(
        _found(about["disks"], disks), _found(about["partitions"], parts), named == here if is_known else None
    )


def _found(named: Collection[str], here: Collection[str]) -> tuple[int, int]:
    return sum(one in here for one in named), len(named)


def _share(found: tuple[int, int]) -> float | None:
    return found[0] / found[1] if found[1] else None
