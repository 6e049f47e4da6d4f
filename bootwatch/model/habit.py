"""What firmware was seen to do by itself from one start to the next."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.model.change import Custody

# What happened once may have been anything.
LEAST = 2


class Habit(StrEnum):
    """The word is the same in the history and in JSON."""

    OWN_CHOICE_FIRST = "own-choice-first"
    DROPS_EDITS = "drops-edits"
    DELETES_ABSENT = "deletes-absent"


_DOES = {
    Habit.OWN_CHOICE_FIRST: "put an entry of its own choice in front of the boot order",
    Habit.DROPS_EDITS: "took back what had been set while this system ran",
    Habit.DELETES_ABSENT: "deleted entries of a disk that was not there",
}


@dataclass(frozen=True)
class Sighting:
    """A habit, seen between the last snapshot of one start and the first of the next.

    ``custody`` ELSEWHERE: a look at the shutdown proves that it happened while this system was not running;
    else something here may have done it after the last look. ``what`` may carry hostile characters.
    """

    habit: Habit
    custody: Custody
    what: str


@dataclass(frozen=True)
class SeenHabit:
    """How often a habit was seen in how many restarts. ``proven`` of them happened outside this system."""

    habit: Habit
    count: int
    restarts: int
    proven: int
    last: str
    snapshot: int
    what: str

    @property
    def is_habit(self) -> bool:
        """Whether it was seen often enough to be called one."""
        return self.count >= LEAST

    @property
    def sentence(self) -> str:
        """For people. The date stands apart, in ``last``."""
        return (
            f"{_times(self.count)} in {self.restarts} restarts the firmware or another system"
            f" {_DOES[self.habit]}{self._doubt}."
        )

    @property
    def _doubt(self) -> str:
        if self.proven == self.count:
            return ""
        return (
            f"; a look at the shutdown shows for {self.proven} of them"
            " that it was not something in this system, later than the last look"
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "habit": self.habit.value,
            "count": self.count,
            "restarts": self.restarts,
            "proven": self.proven,
            "last": self.last,
            "snapshot": self.snapshot,
            "what": self.what,
            "sentence": self.sentence,
        }


def _times(count: int) -> str:
    return "Once" if count == 1 else f"{count} times"
