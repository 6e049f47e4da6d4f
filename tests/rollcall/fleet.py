"""Machines of five sorts that are switched on by people, for a year; by a seed, so always the same."""

from __future__ import annotations

import datetime
import hashlib
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.rollcall.sighting import Sighting, State

BEGIN = datetime.datetime(2025, 9, 1, tzinfo=datetime.UTC)
YEAR = 365
SORTS = {"office": 80, "lab": 50, "home": 40, "hall": 20, "attic": 10}
_TERM_BREAKS = ((109, 127), (203, 223), (317, 365))  # winter, spring, summer
_WINTER = (112, 124)
_DAY = datetime.timedelta(days=1)


@dataclass
class Machine:
    """``on``: its days, ``silent_from``: the day from which nothing comes any more (None: never)."""

    name: str
    sort: str
    on: list[datetime.datetime]
    silent_from: int | None = None
    mails: list[Sighting] = field(default_factory=list)

    def longest_gap(self) -> datetime.timedelta:
        """Between any two mails that came, as it happened."""
        times = [one.state.time for one in self.mails]
        return max((later - earlier for earlier, later in pairwise(times)), default=_DAY)


def fleet(seed: int) -> list[Machine]:
    """Two hundred machines, of which one in ten of each sort falls silent."""
    dice = random.Random(seed)
    machines = []
    for sort, count in SORTS.items():
        alike = [Machine(f"{sort}-{number}", sort, list(_on(sort, dice))) for number in range(1, count + 1)]
        for machine in dice.sample(alike, count // 10):
            machine.silent_from = dice.randrange(90, 330)
        machines += alike
    for machine in machines:
        machine.mails = list(_mails(machine, dice))
    return machines


def _on(sort: str, dice: random.Random) -> Iterator[datetime.datetime]:
    """Times at which it is read, at most one a day."""
    leave = _leave(sort, dice)
    evening = dice.uniform(0.25, 0.6)
    for day in range(YEAR):
        weekday = (BEGIN + day * _DAY).weekday()
        if any(begin <= day < end for begin, end in leave):
            continue
        often = {
            "office": 0.93 if weekday < 5 else 0.02,
            "lab": 0.7 if weekday < 5 else 0.0,
            "home": evening * (1.4 if weekday > 4 else 1.0),
            "hall": 1.0,
            "attic": 1 / 21,
        }[sort]
        if dice.random() < often:
            hour = {"home": 19.0}.get(sort, 8.0) + dice.uniform(0, 2)
            yield BEGIN + day * _DAY + datetime.timedelta(hours=hour)


def _leave(sort: str, dice: random.Random) -> list[tuple[int, int]]:
    begin = dice.randrange(240, 340)
    if sort == "lab":
        return list(_TERM_BREAKS)
    if sort == "office":
        return [_WINTER, (begin, begin + dice.choice((0, 7, 14, 14, 21)))]
    if sort == "home":
        return [(begin, begin + dice.choice((0, 7, 14)))]
    return []


def _mails(machine: Machine, dice: random.Random) -> Iterator[Sighting]:
    """A sign of life every seven days; some mails are late by days, few are lost."""
    last: datetime.datetime | None = None
    starts: list[datetime.datetime] = []
    for number, time in enumerate(machine.on, 1):
        if machine.silent_from is not None and time >= BEGIN + machine.silent_from * _DAY:
            return
        # What is always on is read every day and seldom started.
        if machine.sort != "hall" or number % 90 == 1:
            starts.insert(0, time)
        if last and time - last < datetime.timedelta(days=7, hours=-6):
            continue
        last = time
        late = dice.choices((0.01, dice.uniform(0.2, 3.0)), (98, 2))[0]
        if dice.random() > 0.003:
            yield sighting(machine.name, number, time, tuple(starts[:60]), time + late * _DAY)


def sighting(
    name: str,
    number: int,
    time: datetime.datetime,
    starts: tuple[datetime.datetime, ...] = (),
    came: datetime.datetime | None = None,
    *,
    kind: Kind = Kind.SIGN_OF_LIFE,
    level: Level | None = None,
    key: str | None = "",
) -> Sighting:
    """A state as it was mailed; signed with a key that is called like its machine unless told otherwise."""
    state = State(
        machine=name,
        id=hashlib.sha256(name.encode()).hexdigest()[:32],
        time=time,
        snapshot=number,
        starts=starts,
        open=((level, 1),) if level else (),
        next_system="Fernwick Linux",
        expected=level is None,
        unread=0,
        kind=kind,
        called="a1" if level else "",
        opened="",
        message="",
    )
    came = came or time
    return Sighting(state, f"key of {name}" if key == "" else key, came, came)
