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
    of what was told; ``still_open`` the worst that held then, ``how`` by what something was over. ``news``
    are the ids of what nobody had heard of yet, ``drift`` the digest of the comparison told of. ``time`` is
    UTC in RFC 3339. ``is_spooled``: whether the ``message`` of this id surely was handed over."""

    number: int
    kind: Kind
    snapshot: int
    time: str
    level: Level
    still_open: Level | None
    how: str
    news: tuple[str, ...]
    drift: str
    message: str
    is_spooled: bool


@dataclass(frozen=True)
class Alert:
    """``uid`` tells it from every other of every machine; people call it by its ``name``.

    ``level`` is the worst that people were told of and that still holds; None once it has ended, and before
    its first telling lies in the spool. ``ended`` and ``how`` say when and by what, "" while it is open.
    ``quiet_until``: no reminders before that time. Times are UTC in RFC 3339.
    """

    number: int
    uid: str
    opened: str
    snapshot: int
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
