"""When a machine was heard, in which order: by the numbers of its snapshots first, by clocks only then."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from bootwatch.model.alert import Kind
from bootwatch.rollcall.sighting import Sighting, State

_DAY = datetime.timedelta(days=1)
# Another system may leave the clock in its own time zone: hours are no contradiction.
_CLOCK = datetime.timedelta(days=2)
_LONGEST = datetime.timedelta(days=730)


@dataclass(frozen=True)
class Heard:
    """A state and when it was taken, as well as that can be known."""

    state: State
    time: datetime.datetime

    @property
    def clock(self) -> datetime.timedelta:
        """How far ahead the machine's clock is; within a day it counts as right."""
        wrong = self.state.time - self.time
        return wrong if abs(wrong) > _DAY else datetime.timedelta()

    @property
    def stays_on(self) -> bool:
        """Whether it had been on for days: then its starts don't tell when it was on."""
        newest = max(self.state.starts, default=self.state.time)
        return self.state.time - newest > _CLOCK

    def starts(self, since: datetime.datetime) -> Iterable[datetime.datetime]:
        """When it had been started since then."""
        clock = self.clock
        since = max(since, self.time - _LONGEST)
        return (start for one in self.state.starts if since < (start := one - clock) <= self.time + _DAY)


@dataclass(frozen=True)
class Story:
    """All that was heard of one machine, the newest last; never empty."""

    heard: tuple[Heard, ...]

    @property
    def last(self) -> Heard:
        return self.heard[-1]

    @cached_property
    def on(self) -> tuple[datetime.datetime, ...]:
        """When the machine is known to have been on, once a day at most, the oldest first."""
        times = {one.time for one in self.heard}
        since = self.heard[0].time - _LONGEST
        for one in self.heard:
            if one.stays_on:
                continue
            times.update(one.starts(since))
            # Each state lists the starts before it anew.
            since = max(since, one.time - _CLOCK)
        days: dict[datetime.date, datetime.datetime] = {}
        for time in sorted(times):
            days.setdefault(time.date(), time)
        return tuple(days.values())

    @cached_property
    def signs(self) -> tuple[datetime.datetime, ...]:
        """When it gave signs of life."""
        return tuple(one.time for one in self.heard if one.state.kind is Kind.SIGN_OF_LIFE)


def stories(sightings: Iterable[Sighting], now: datetime.datetime) -> list[Story]:
    """What was told under one name: one story, or more where machines that differ call themselves the same.

    One that was set up anew has another id, and is heard under it only after it was heard under the old one.
    """
    by_id: dict[str, list[Sighting]] = {}
    for one in _once(sightings):
        by_id.setdefault(one.state.id, []).append(one)
    found: list[list[Heard]] = []
    for told in sorted((_told(ones, now) for ones in by_id.values()), key=lambda told: told[0].time):
        before = next((one for one in found if one[-1].time <= told[0].time + _CLOCK), None)
        if before is None:
            found.append(told)
        else:
            before += told
    return [Story(tuple(told)) for told in found]


def _once(sightings: Iterable[Sighting]) -> Iterable[Sighting]:
    """Each state once, however often it was mailed or sent again: with the mail that came first."""
    first: dict[State, Sighting] = {}
    for one in sightings:
        known = first.get(one.state)
        if known is None or _came(one) < _came(known):
            first[one.state] = one
    return first.values()


def _came(sighting: Sighting) -> datetime.datetime:
    return sighting.came or sighting.dated or sighting.state.time


def _told(sightings: Sequence[Sighting], now: datetime.datetime) -> list[Heard]:
    """What a machine with one id told, in its order."""
    told: list[Sighting] = []
    rest = list(sightings)
    while rest:
        later = _counted_anew(rest)
        anew = {id(one) for one in later}
        told += sorted((one for one in rest if id(one) not in anew), key=_order)
        rest = later
    times: list[datetime.datetime] = []
    for place in reversed(range(len(told))):
        time = _when(told[place], told[place - 1] if place else None)
        limit = times[-1] if times else now
        # Not after what came after it, whatever a mail says that may have been sent again.
        times.append(time if time <= limit else min(told[place].state.time, limit))
    return [Heard(one.state, time) for one, time in zip(told, reversed(times), strict=True)]


def _order(sighting: Sighting) -> tuple[int, datetime.datetime]:
    return sighting.state.snapshot, sighting.state.time


def _counted_anew(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Those of a history that began again at 1: lower numbers, and yet later by the machine's own (signed)
    clock as well as by the mails'. An old mail that somebody sends again is later by its mail alone."""
    newest = max(sightings, key=_order)
    return [
        one
        for one in sightings
        if one.state.snapshot < newest.state.snapshot
        and one.state.time > newest.state.time + _CLOCK
        and _came(one) > _came(newest) + _CLOCK
    ]


def _when(sighting: Sighting, before: Sighting | None) -> datetime.datetime:
    """The machine's own time, unless its mail or what it said before shows that its clock is wrong."""
    time, came, dated = sighting.state.time, sighting.came, sighting.dated
    if before and time < before.state.time - _CLOCK:
        return came or dated or before.state.time
    if came and dated and abs(came - dated) > _DAY:
        # The mail is dated by the same clock.
        time += came - dated
    return came if came and time > came + _DAY else time
