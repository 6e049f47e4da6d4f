"""An alert: an episode from the first telling to the return to the baseline, or its adoption."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bootwatch.model.level import Level


class Kind(StrEnum):
    """Why a message is sent."""

    NEWS = "news"
    REMINDER = "reminder"
    ALL_CLEAR = "all-clear"
    SIGN_OF_LIFE = "sign of life"


@dataclass(frozen=True)
class Stage:
    """One telling of an alert, numbered from 1. ``level``: of an all-clear the worst that is over now, else
    of what was told. ``time`` is UTC in RFC 3339. ``is_spooled``: whether the message surely was handed
    over."""

    number: int
    kind: Kind
    snapshot: int
    time: str
    level: Level
    message: str
    is_spooled: bool


@dataclass(frozen=True)
class Alert:
    """``uid`` tells it from every other of every machine; people call it by its ``name``.

    ``level`` is the worst that people were told of and that still holds; None once it has ended. ``ended``
    and ``how`` say when and by what, "" while it is open. ``quiet_until``: no reminders before that time.
    Times are UTC in RFC 3339.
    """

    number: int
    uid: str
    opened: str
    snapshot: int
    baseline: str
    level: Level | None
    ended: str = ""
    how: str = ""
    quiet_until: str = ""
    stages: tuple[Stage, ...] = ()

    @property
    def name(self) -> str:
        return f"a{self.number}"

    @property
    def is_open(self) -> bool:
        return not self.ended
