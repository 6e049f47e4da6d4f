"""How long a machine may be silent, by its own history. Pure.

A machine gives a sign of life at the first start (or reading) once ``every`` has gone by since the last one.
So it is silent for ``every``, and then until somebody switches it on. How long that took at most, at any time
of its history, is its longest wait. Half as much again is allowed, more while little is known (after n waits
1.5 + 5/n times the longest), and three days at least, since mails are late too.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from bootwatch.model.level import Level

_DAY = datetime.timedelta(days=1)
_NONE = datetime.timedelta()
# By the clock of the day, a sign may come a few hours early.
_EARLY = datetime.timedelta(hours=6)
_LEAST = 3 * _DAY
_DOUBT = 5.0
# While too little is known: a month between signs, a week between starts.
_MONTH = 30 * _DAY
_WEEK = 7 * _DAY
_NEWEST_SIGNS = 5
_REMINDED = {Level.STRANDED: _WEEK, Level.DIVERTED: _WEEK, Level.WEAKENED: _MONTH}

Span = tuple[datetime.datetime, datetime.datetime]


@dataclass(frozen=True)
class Rhythm:
    """``every``: how often it gives a sign of life, None where it never gave one; ``is_guessed``: it gave
    only one. ``wait``: the longest time from when a sign was due until the machine was on again, out of
    ``known`` such times."""

    every: datetime.timedelta | None
    is_guessed: bool
    wait: datetime.timedelta
    known: int

    def usual(self, level: Level | None = None) -> datetime.timedelta | None:
        """The longest silence that its history holds; with ``level``, what is open: reminders come too. None
        where it has no reason to mail at all."""
        times = [time for time in (self.every, _REMINDED.get(level) if level else None) if time]
        return min(times) + self.wait if times else None

    def limit(self, level: Level | None = None) -> datetime.timedelta | None:
        """The longest silence that its rhythm explains."""
        usual = self.usual(level)
        if usual is None:
            return None
        return usual - self.wait + max(_LEAST, self.wait * (1.5 + _DOUBT / max(self.known, 1)))


def learn(
    on: Sequence[datetime.datetime],
    signs: Sequence[datetime.datetime],
    shared: Sequence[Span] = (),
    said: int | None = None,
) -> Rhythm:
    """``on``: when it is known to have been on, in order; ``signs``: when it gave signs of life; ``shared``:
    times that don't count, since many machines paused together. ``said``: after how many days it says that it
    gives one, 0 for never; None where it doesn't say."""
    every, is_guessed = _every(signs) if said is None else (said * _DAY or None, False)
    waits = _waits(on, every or _WEEK, shared)
    wait = max(waits, default=_NONE)
    return Rhythm(every, is_guessed, wait if len(waits) >= 3 else max(wait, _WEEK), len(waits))


def _every(signs: Sequence[datetime.datetime]) -> tuple[datetime.timedelta | None, bool]:
    """The shortest time between two of the newest signs: a rarely used machine waits longer, none shorter.
    Only the newest, since the setting may have changed."""
    newest = sorted(signs)[-_NEWEST_SIGNS:]
    gaps = [later - earlier for earlier, later in pairwise(newest)]
    if gaps:
        return max(min(gaps), _DAY), False
    return (_MONTH, True) if signs else (None, False)


def _waits(
    on: Sequence[datetime.datetime], every: datetime.timedelta, shared: Sequence[Span]
) -> list[datetime.timedelta]:
    """For each time that it was on, as if it had given a sign then: how long the next one was overdue."""
    found = []
    for time in on:
        due = time + every - _EARLY
        place = bisect_left(on, due)
        if place == len(on):
            break
        wait = on[place] - due
        found.append(wait - overlap((due, on[place]), shared) if wait > _LEAST else wait)
    return found


def overlap(span: Span, shared: Sequence[Span]) -> datetime.timedelta:
    """How much of ``span`` lies in ``shared``, whose spans don't touch each other."""
    parts = (min(span[1], end) - max(span[0], begin) for begin, end in shared)
    return sum((part for part in parts if part > _NONE), _NONE)
