"""What a spoken code says, in words, for the technician who was told it."""

from __future__ import annotations

import datetime

from bootwatch.model.spoken import OTHER_LETTER, Following, Kit, Spoken, Standing
from bootwatch.tell.spoken import DAYS

_STANDING = {
    Standing.QUIET: "nothing is open",
    Standing.STRANDED: "stranded: a system would not start any more",
    Standing.DIVERTED: "diverted: another system would start than usual",
    Standing.WEAKENED: "weakened: all start, but a way to one or a safeguard is gone",
    Standing.CHANGED: "changed: something that is worth knowing",
    Standing.NO_BASELINE: "no baseline was saved yet, so nothing is compared",
    Standing.UNTOLD: "can't be told: something could not be read, or not be compared",
}
_KIT = {
    Kit.NONE: "none is known: bootwatch baseline export makes one, on a stick",
    Kit.CURRENT: "there is one of today's baseline, put onto a stick or elsewhere",
    Kit.FORMER: "there is one of a former baseline, put onto a stick or elsewhere",
}
_FOLLOWING = {
    Following.PROGRAM: "a program that belongs to no known system",
    Following.SETUP: "the firmware's own setup",
    Following.NOTHING: "nothing",
    Following.UNKNOWN: "not known",
}


def lines(said: Spoken, today: datetime.date, headline: str) -> list[str]:
    """One line for each value; ``headline`` is what the gravest change or finding means."""
    return [
        f"worst open: {_STANDING[said.standing]}",
        f"affected: {_system(said.system) if said.system else 'no system in particular'}",
        f"next start: {_next(said)}",
        f"gravest: {_gravest(said.name, headline)}",
        f"last look: {_look(said, today)}",
        f"kit: {_KIT[said.kit]}",
    ]


def age_in_days(said: Spoken, today: datetime.date) -> int | None:
    """How many days ago the look was, by that machine's clock: 0 to ``DAYS`` - 2, or -1 for a clock that is a
    day ahead. None where the machine didn't know. Whole ``DAYS`` more can't be told."""
    if said.day is None:
        return None
    return (today.toordinal() - said.day + 1) % DAYS - 1


def _system(letter: str) -> str:
    if letter == OTHER_LETTER:
        return "the system whose name begins with none of the letters A to Z"
    return f"the system whose name begins with {letter}"


def _next(said: Spoken) -> str:
    if not said.next_system:
        return _FOLLOWING[said.following]
    likely = "probably " if said.following is Following.LIKELY_SYSTEM else ""
    return likely + _system(said.next_system)


def _gravest(name: str, headline: str) -> str:
    if not name:
        return "nothing in particular"
    return f"{name}: {headline} See: bootwatch meaning {name}"


def _look(said: Spoken, today: datetime.date) -> str:
    age = age_in_days(said, today)
    if age is None:
        return "at an unknown time"
    day = (today - datetime.timedelta(days=age)).isoformat()
    when = {-1: "tomorrow (one of the two clocks is wrong)", 0: "today", 1: "yesterday"}
    return f"{when.get(age) or f'{age} days ago'}, {day} by that machine's clock"
