"""What a part says, checked member by member, and the mail it came in."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bootwatch.model.alert import Kind
from bootwatch.model.level import Level, worst
from bootwatch.tell import state as state_document
from bootwatch.tell.part import Opened
from bootwatch.tell.plain import plain

NAME = 100
"""Characters that a machine's name is shown with, and compared by."""

_MOST_STARTS = 200
_MOST_NUMBER = 2**53
_TEXT = 200
_MOST_DAYS = 400
_YEARS = range(1990, 2200)


@dataclass(frozen=True)
class State:
    """One machine's state as it was sent. Texts are harmless, times are UTC by the machine's own clock.

    ``open``: how many things people must hear of, by level. ``expected``: whether the usual
    system starts next. ``sign_of_life``: after how many days it gives one; 0 for never, None where it doesn't
    say.
    """

    machine: str
    id: str
    time: datetime.datetime
    snapshot: int
    starts: tuple[datetime.datetime, ...]
    open: tuple[tuple[Level, int], ...]
    next_system: str
    expected: bool | None
    unread: int
    kind: Kind
    called: str
    opened: str
    message: str
    sign_of_life: int | None = None

    @property
    def level(self) -> Level | None:
        """The worst that is open, None where nothing is."""
        return worst(level for level, _ in self.open)

    @classmethod
    def read(cls, document: Mapping[str, Any]) -> State:
        """Raises ValueError for a document that isn't a state."""
        if document.get("format") != state_document.FORMAT:
            raise ValueError("it is not of a format that is known here")
        following = _object(document, "next_start")
        expected = following.get("expected")
        if expected not in (None, True, False):
            raise ValueError("its next start is damaged")
        return cls(
            machine=_name(document),
            id=_id(document),
            time=_time(document.get("time")),
            snapshot=_number(document.get("snapshot")),
            starts=_starts(document),
            open=_open(_object(document, "open")),
            next_system=_text(following.get("system") or ""),
            expected=None if expected is None else bool(expected),
            unread=_number(document.get("unread", 0)),
            kind=Kind(document.get("kind", Kind.NEWS)),
            called=_text(document.get("called", "")),
            opened=_text(document.get("opened", "")),
            message=_text(document.get("message", "")),
            sign_of_life=_days(document.get("sign_of_life")),
        )


@dataclass(frozen=True)
class Sighting:
    """A state, by which key it was signed (None: by none), and the mail's times: ``came`` by the first server
    on its way, ``dated`` by the sender's clock. Nobody vouches for these two."""

    state: State
    key: str | None
    came: datetime.datetime | None = None
    dated: datetime.datetime | None = None

    @classmethod
    def of(
        cls, opened: Opened, came: datetime.datetime | None = None, dated: datetime.datetime | None = None
    ) -> Sighting:
        """Raises ValueError for a part that holds no state."""
        return cls(State.read(opened.state), opened.key, came, dated)


def _name(document: Mapping[str, Any]) -> str:
    name = plain(_text(document.get("machine")), NAME).strip()
    if not name:
        raise ValueError("it names no machine")
    return name


def _id(document: Mapping[str, Any]) -> str:
    found = document.get("id")
    if not isinstance(found, str) or not re.fullmatch(r"[0-9a-f]{32}", found):
        raise ValueError("its id is damaged")
    return found


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a text in it is damaged")
    return plain(value, _TEXT)


def _number(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < _MOST_NUMBER:
        raise ValueError("a number in it is damaged")
    return value


def _days(value: Any) -> int | None:
    return None if value is None else min(_number(value), _MOST_DAYS)


def _object(document: Mapping[str, Any], member: str) -> Mapping[str, Any]:
    found = document.get(member)
    if not isinstance(found, Mapping):
        raise ValueError(f"its {member} is damaged")
    return found


def _time(value: Any) -> datetime.datetime:
    try:
        time = datetime.datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError("a time in it is damaged") from None
    if time.tzinfo is None or time.year not in _YEARS:
        raise ValueError("a time in it is damaged")
    return time.astimezone(datetime.UTC)


def _starts(document: Mapping[str, Any]) -> tuple[datetime.datetime, ...]:
    found = document.get("starts")
    if not isinstance(found, list) or len(found) > _MOST_STARTS:
        raise ValueError("its starts are damaged")
    return tuple(_time(one) for one in found)


def _open(counts: Mapping[str, Any]) -> tuple[tuple[Level, int], ...]:
    """Raises ValueError, for a level that isn't known too."""
    found = sorted((Level(level), _number(count)) for level, count in counts.items())
    return tuple((level, count) for level, count in found if count and level is not Level.ROUTINE)
