"""What was predicted to start next, what then started, and whether that was the same."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.model.known import known_fields
from bootwatch.model.path import fold


class Outcome(StrEnum):
    """Whether a prediction came true."""

    RIGHT = "right"
    WRONG = "wrong"
    UNKNOWN = "unknown"


def entry_key(identity: tuple[str, ...]) -> str:
    """The key of a route through an entry; survives renumbering and relabelling."""
    return "|".join(("entry", *identity))


def file_key(volume: str, file: str) -> str:
    """The key of a loader, whichever way led to it."""
    return "|".join(("file", volume.partition("@")[0], fold(file)))


@dataclass(frozen=True)
class Target:
    """Something that the firmware may run: through which entry, and the file on which volume (its identity).

    ``identity`` is what survives renumbering of the entry; empty for what needs no entry.
    """

    entry: str | None = None
    volume: str | None = None
    file: str | None = None
    identity: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """By what a route that was used is found again: its entry and its file, as far as they are known."""
        entry = (entry_key(self.identity),) if self.identity else ()
        file = (file_key(self.volume, self.file),) if self.volume and self.file else ()
        return (*entry, *file)

    def to_json(self) -> dict[str, Any]:
        return {**vars(self), "identity": list(self.identity)}

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Target:
        return cls(**{**known_fields(cls, document), "identity": tuple(document["identity"])})


@dataclass(frozen=True)
class Prediction:
    """The next start as it was predicted from one snapshot; ``by`` as in the published next start.

    ``others`` are what else may have run where the firmware has a free choice or something was unreadable.
    """

    by: str
    target: Target
    label: str = ""
    certain: bool = True
    others: tuple[Target, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            **vars(self),
            "target": self.target.to_json(),
            "others": [other.to_json() for other in self.others],
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Prediction:
        own = {
            "target": Target.from_json(document["target"]),
            "others": tuple(Target.from_json(item) for item in document["others"]),
        }
        return cls(**{**known_fields(cls, document), **own})


@dataclass(frozen=True)
class Proof:
    """What really started, as far as anything shows it; ``evidence`` names what does.

    ``doubt`` is a sentence about evidence that contradicts other evidence, "" where none does. ``target`` is
    None where nothing shows what started.
    """

    target: Target | None
    evidence: tuple[str, ...] = ()
    doubt: str = ""


@dataclass(frozen=True)
class Verdict:
    """Whether a prediction came true, and why that is said: one sentence or two."""

    outcome: Outcome
    why: str


@dataclass(frozen=True)
class Start:
    """One start of this system. ``snapshot`` is the first one that was taken in it, ``predicted`` the one
    that its prediction was made from; without a prediction both that and ``verdict`` are None."""

    snapshot: int
    target: Target | None
    predicted: int | None = None
    verdict: Verdict | None = None
