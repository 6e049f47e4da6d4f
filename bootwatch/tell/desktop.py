"""What whoever is logged in is to see now: decided from the board and from what the session saw already."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum

from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import owner_desktop
from bootwatch.tell.desktop_board import Board


class Urgency(IntEnum):
    """As the Desktop Notifications Specification numbers them."""

    LOW = 0
    NORMAL = 1
    CRITICAL = 2


class Slot(StrEnum):
    """Each is on the screen once at most."""

    ALERT = "alert"
    TELLING = "telling"
    """That others could not be told."""


@dataclass(frozen=True)
class Note:
    """One notification. ``button`` is the label of what opens the text, "" where there is nothing to open."""

    title: str
    body: str
    urgency: Urgency
    button: str = ""

    @property
    def icon(self) -> str:
        """A name of the Icon Naming Specification."""
        return ("dialog-information", "dialog-warning", "dialog-error")[self.urgency]


@dataclass(frozen=True)
class Mark:
    """How far an alert had come: its worst open level, and how often it was told."""

    alert: str
    level: Level
    stage: int

    @classmethod
    def of(cls, message: Message) -> Mark:
        return cls(message.alert, message.still_open or Level.ROUTINE, message.stage)

    def is_beyond(self, other: Mark) -> bool:
        """Whether it grew worse since, or was told again without having become better."""
        if self.alert != other.alert or self.level.rank < other.level.rank:
            return True
        return self.level is other.level and self.stage > other.stage


@dataclass(frozen=True)
class Session:
    """What happened since this user logged in.

    ``shown`` is the alert as it was seen on the screen last, ``dismissed`` as it was when it was put away
    there, ``quiet`` as it was when it was first seen to be quiet, with the time until which it is.
    ``put_away`` is the note on telling that was.
    """

    shown: Mark | None = None
    dismissed: Mark | None = None
    quiet: tuple[datetime.datetime, Mark] | None = None
    put_away: Note | None = None

    def having_seen(self, mark: Mark) -> Session:
        return replace(self, shown=mark)

    def having_put_away(self, slot: Slot, note: Note) -> Session:
        """After the user, or the daemon after a while, took a note off the screen."""
        if slot is Slot.TELLING:
            return replace(self, put_away=note)
        return replace(self, dismissed=self.shown)


@dataclass(frozen=True)
class Showing:
    """What is to be on the screen, and the alert's ``mark``. ``parting`` is shown once and left to itself."""

    notes: dict[Slot, Note]
    session: Session
    mark: Mark | None = None
    parting: Note | None = None


def decide(session: Session, board: Board, now: datetime.datetime) -> Showing:
    """``now`` is only held against the time until which a person asked for quiet."""
    message = board.message
    if message is None:
        return Showing({}, session)
    notes = _on_telling(message, board, session.put_away)
    if not message.alert:
        parting = _parting(message, session.shown) if session.shown else None
        return Showing(notes, Session(put_away=session.put_away), parting=parting)
    mark = Mark.of(message)
    session = replace(session, quiet=_quiet(session, board.quiet_until, mark, now))
    if not _is_hidden(session, mark):
        session = replace(session, dismissed=None)
        notes = {Slot.ALERT: _on_alert(message, board), **notes}
    return Showing(notes, session, mark)


def _quiet(
    session: Session, until: datetime.datetime | None, mark: Mark, now: datetime.datetime
) -> tuple[datetime.datetime, Mark] | None:
    if until is None or until <= now:
        return None
    is_known = session.quiet and session.quiet[0] == until and session.quiet[1].alert == mark.alert
    return session.quiet if is_known else (until, mark)


def _is_hidden(session: Session, mark: Mark) -> bool:
    marks = (session.dismissed, session.quiet and session.quiet[1])
    return any(one and not mark.is_beyond(one) for one in marks)


def _on_alert(message: Message, board: Board) -> Note:
    text = owner_desktop.of_alert(message, board.told)
    body = owner_desktop.shortened(text, message.spoken)
    return Note(text.title, body, _urgency(message.still_open), owner_desktop.button(message.care))


def _urgency(level: Level | None) -> Urgency:
    if level in (Level.STRANDED, Level.DIVERTED):
        return Urgency.CRITICAL
    return Urgency.NORMAL if level is Level.WEAKENED else Urgency.LOW


def _on_telling(message: Message, board: Board, put_away: Note | None) -> dict[Slot, Note]:
    said = owner_desktop.telling(message.care, board.refused, has_mistakes=board.has_mistakes)
    if said is None:
        return {}
    note = Note(*said, Urgency.NORMAL if message.alert else Urgency.LOW)
    return {Slot.TELLING: note} if note != put_away else {}


def _parting(message: Message, shown: Mark) -> Note:
    text = owner_desktop.of_the_end(message, shown.level)
    return Note(text.title, owner_desktop.shortened(text, ""), Urgency.LOW)
