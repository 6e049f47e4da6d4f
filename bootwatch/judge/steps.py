"""What a simulated start is made of: steps, the next start, routes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.judge.ground import Landing, Place, Placed
from bootwatch.judge.reach import Reach


class By(StrEnum):
    """What makes the firmware try something."""

    NEXT = "BootNext"
    ORDER = "BootOrder"
    FALLBACK = "fallback"
    SETUP = "setup"
    NOTHING = "nothing"
    CHOICE = "choice"  # only a person does, in the firmware's menu
    MENU = "menu"  # a person does, in another system's start menu


class Outcome(StrEnum):
    """What becomes of an option."""

    STARTS = "starts"
    PASSED = "passed"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that the firmware tries. ``landings`` holds more than one where it has a free choice."""

    by: By
    entry: str | None
    label: str
    outcome: Outcome
    why: str
    landings: tuple[Landing, ...] = ()

    @property
    def landing(self) -> Landing | None:
        """The likeliest one: they stand in the order in which firmware usually comes across them."""
        return self.landings[0] if self.landings else None

    @property
    def is_taken(self) -> bool:
        """Whether the walk is taken to end here."""
        if self.outcome is Outcome.UNKNOWN:
            return self.landing is None or _likely(self.landing)
        return self.outcome is Outcome.STARTS

    def to_json(self) -> dict[str, Any]:
        landing = self.landing
        return {
            "by": self.by.value,
            "entry": self.entry,
            "label": self.label,
            "partition": landing.partition if landing else None,
            "file": landing.file if landing else None,
            "outcome": self.outcome.value,
            "why": self.why,
        }


class Tried(Placed):
    """Something that the firmware runs, or may run."""

    __slots__ = ()
    by: By
    entry: str | None

    def where_json(self) -> dict[str, Any]:
        """By what it is tried, and where it lies."""
        return {
            "by": self.by.value,
            "entry": self.entry,
            "partition": self.partition,
            "file": self.file,
        }


@dataclass(frozen=True)
class NextStart(Tried):
    """What the firmware would run if the machine were switched on now.

    ``certain`` False: something before it could not be told, or the firmware has a free choice;
    ``candidates`` then names all that may run.
    """

    by: By
    entry: str | None = None
    label: str = ""
    volume: str | None = None
    file: str | None = None
    certain: bool = True
    candidates: tuple[Candidate, ...] = ()
    why: str = ""

    def to_json(self) -> dict[str, Any]:
        return {
            **self.where_json(),
            "certain": self.certain,
            "candidates": [candidate.to_json() for candidate in self.candidates],
            "why": self.why,
        }


@dataclass(frozen=True, slots=True)
class Candidate(Tried):
    """Something that may run."""

    by: By
    entry: str | None = None
    volume: str | None = None
    file: str | None = None

    @classmethod
    def of(cls, step: Step, landing: Landing | None) -> Candidate:
        if landing is None:
            return cls(step.by, step.entry)
        return cls(step.by, step.entry, landing.volume, landing.file)

    def to_json(self) -> dict[str, Any]:
        return self.where_json()


@dataclass(frozen=True, slots=True)
class Route(Tried):
    """One way by which the firmware can reach a loader.

    ``unattended``: the firmware comes to it by itself, if nothing before it starts. ``starts`` says what
    happens then, None where it can't be told. ``through`` names the system whose start menu leads there;
    ``uses`` are the files, beside the loader, without which it would not start.
    """

    by: By
    entry: str | None
    label: str
    volume: str | None
    file: str | None
    starts: bool | None
    why: str
    unattended: bool
    followed_to: Reach = Reach.LOADER
    through: str | None = None
    uses: tuple[Place, ...] = ()

    @property
    def is_deep(self) -> bool:
        """Whether it was followed to a kernel."""
        return self.followed_to is Reach.KERNEL

    def to_json(self) -> dict[str, Any]:
        return {
            **self.where_json(),
            "starts": self.starts,
            "unattended": self.unattended,
            "followed_to": self.followed_to.value,
            "through": self.through,
            "why": self.why,
        }


@dataclass(frozen=True)
class Startup:
    """The next start, the way to it, and all routes."""

    next_start: NextStart
    trail: tuple[Step, ...]
    routes: tuple[Route, ...]


def _likely(landing: Landing) -> bool:
    return landing.likely if landing.starts is None else landing.starts


def step_of(by: By, entry: str | None, label: str, landings: tuple[Landing, ...]) -> Step:
    verdicts = {landing.starts for landing in landings}
    if verdicts == {True}:
        outcome = Outcome.STARTS
    elif verdicts == {False}:
        outcome = Outcome.PASSED
    else:
        outcome = Outcome.UNKNOWN
    why = landings[0].why
    if len(landings) > 1 and len({landing.place for landing in landings}) > 1:
        why = f"{why}; the firmware has a free choice between {len(landings)}"
    return Step(by, entry, label, outcome, why, landings)


def next_start_of(trail: Sequence[Step]) -> NextStart:
    """What starts, of everything that is tried up to the first that surely does."""
    open_steps = [step for step in trail if step.outcome is not Outcome.PASSED]
    candidates = tuple(
        dict.fromkeys(
            Candidate.of(step, landing)
            for step in open_steps
            for landing in step.landings or (None,)
            if landing is None or landing.starts is not False
        )
    )
    if candidates and open_steps[-1].outcome is not Outcome.STARTS:
        candidates = (*candidates, Candidate(By.NOTHING))
    is_certain = len(candidates) < 2 and not any(step.outcome is Outcome.UNKNOWN for step in open_steps)
    shown = () if is_certain else candidates
    taken = next((step for step in open_steps if step.is_taken), None)
    if taken is None:
        return NextStart(
            By.NOTHING,
            certain=is_certain,
            candidates=shown,
            why="nothing that the firmware tries would start",
        )
    landing = taken.landing or Landing(None, taken.why)
    return NextStart(
        taken.by,
        taken.entry,
        taken.label,
        landing.volume,
        landing.file,
        is_certain,
        shown,
        taken.why,
    )
