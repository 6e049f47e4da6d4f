"""Two hundred machines over a year, twenty of which fall silent."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.rollcall.heard import Story, stories
from bootwatch.rollcall.roll import Condition, judged
from bootwatch.rollcall.sighting import Sighting
from bootwatch.tell.part import new_key, public_key, seal
from tests.rollcall.fleet import BEGIN, SORTS, YEAR, Machine, fleet
from tests.rollcall.mails import mail, maildir, of

pytestmark = pytest.mark.long

SEED = 2026
DAY = datetime.timedelta(days=1)
EVERY = 4
# The first month is for learning.
FIRST = 30
# A machine that falls silent as its building closes can't be told from its neighbours until they are back.
BREAK = 48 * DAY


# Whose last mail is an alert; and one of whom nothing came after that.
TOLD = {"office-1": Level.DIVERTED, "lab-2": Level.WEAKENED, "home-3": Level.STRANDED}
LOST = "office-4"


@dataclass
class Figures:
    """``shown``: when a silent machine was first shown as such, alone or with others; ``named``: alone."""

    rows: int = 0
    wrong: Counter[str] = field(default_factory=Counter)
    together: int = 0
    shown: dict[str, datetime.datetime] = field(default_factory=dict)
    named: dict[str, datetime.datetime] = field(default_factory=dict)

    def note(self, machine: Machine, condition: Condition, now: datetime.datetime) -> None:
        self.rows += 1
        is_silent = machine.silent_from is not None and now >= BEGIN + machine.silent_from * DAY
        if is_silent and condition in (Condition.LATE, Condition.TOGETHER):
            self.shown.setdefault(machine.name, now)
        if is_silent and condition is Condition.LATE:
            self.named.setdefault(machine.name, now)
        if not is_silent:
            self.wrong[machine.sort] += condition is Condition.LATE
            self.together += condition is Condition.TOGETHER


def year(machines: list[Machine]) -> Figures:
    """The roll is called every fourth day, out of the mails that have come by then."""
    figures, told = Figures(), dict[str, tuple[int, Story]]()
    by_name = {machine.name: machine for machine in machines}
    for day in range(FIRST, YEAR, EVERY):
        now = BEGIN + (day + 0.5) * DAY
        for machine in machines:
            there = [one for one in machine.mails if one.came and one.came <= now]
            if there and told.get(machine.name, (0,))[0] != len(there):
                (story,) = stories(there, now)
                told[machine.name] = len(there), story
        for row in judged([(name, story) for name, (_, story) in told.items()], now):
            figures.note(by_name[row.name], row.condition, now)
    return figures


def test_a_year() -> None:
    machines = fleet(SEED)
    assert len(machines) == 200
    silent = [machine for machine in machines if machine.silent_from is not None]
    assert len(silent) == 20
    figures = year(machines)
    waits = {}
    for machine in silent:
        last, longest = machine.mails[-1].state.time, machine.longest_gap()
        if last + 2 * longest > BEGIN + YEAR * DAY:
            continue  # The year ends before anybody could know.
        assert figures.shown[machine.name] - last <= 2 * longest + EVERY * DAY, machine.name
        named = figures.named.get(machine.name, BEGIN + YEAR * DAY)
        assert named - last <= 2 * longest + EVERY * DAY + BREAK, machine.name
        waits[machine.name] = (named - last).days, longest.days
    assert len(waits) >= 15
    share = figures.wrong.total() / figures.rows
    assert share < 0.01
    print(f"\n{figures.rows} machine-days; wrongly named {share:.2%}", dict(figures.wrong))
    print(f"silent with others, and back later: {figures.together / figures.rows:.2%}")
    print("days from the last mail to its name (longest gap before):", waits)


def latest(machine: Machine, day: int) -> list[Sighting]:
    """What of a machine lies in the box: its last mails until a day."""
    return [one for one in machine.mails if one.came and one.came <= BEGIN + day * DAY][-5:]


def alerts(machine: Machine, level: Level, time: datetime.datetime) -> Sighting:
    """An alert after the machine's last mail."""
    last = machine.mails[-1].state
    state = replace(
        last, time=time, snapshot=last.snapshot + 1, kind=Kind.NEWS, open=((level, 1),), called="a1"
    )
    return Sighting(state, None, time, time)


def box(folder: Path, machines: list[Machine], day: int) -> tuple[Path, Path]:
    """A Maildir with each machine's last mails, some alerts and some lies; and the list of keys."""
    keys = {machine.name: new_key() for machine in machines}
    mails = []
    for machine in machines:
        for one in latest(machine, day):
            if machine.name == LOST and one is latest(machine, day)[-3]:
                state = replace(one.state, kind=Kind.NEWS, open=((Level.STRANDED, 2),), called="a2")
                mails.append(mail(seal(of(replace(one, state=state)), keys[LOST]), one.state.time, LOST))
                break
            mails.append(mail(seal(of(one), keys[machine.name]), one.came or BEGIN, machine.name))
    for machine in machines:
        if machine.name in TOLD:
            one = alerts(machine, TOLD[machine.name], BEGIN + (day - 0.5) * DAY)
            mails.append(mail(seal(of(one), keys[machine.name]), one.state.time, machine.name))
    silent = next(machine for machine in machines if machine.silent_from and machine.silent_from < day - 60)
    lie = replace(latest(silent, day)[-1].state, snapshot=9999, time=BEGIN + (day - 1) * DAY)
    mails.append(mail(seal(of(Sighting(lie, None)), None), lie.time, silent.name))
    known = folder / "machines"
    known.write_text("".join(f"{public_key(key)} {name}\n" for name, key in keys.items()))
    return maildir(folder / "box", mails), known


def test_a_box_of_them_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    day = 305
    machines = fleet(SEED)
    source, known = box(tmp_path, machines, day)
    now = (BEGIN + day * DAY).isoformat()
    assert main(["rollcall", str(source), "--known", str(known), "--now", now, "--json"]) == 1
    said = json.loads(capsys.readouterr().out)
    assert len(said["machines"]) == sum(SORTS.values())
    assert said["passed_over"] == {}
    conditions = {one["machine"]: one["condition"] for one in said["machines"]}
    assert {name for name, one in conditions.items() if one == "alert"} == TOLD.keys()
    assert {name for name, one in conditions.items() if one == "silent since alert"} == {LOST}
    long_silent = {
        machine.name
        for machine in machines
        if machine.silent_from is not None and machine.silent_from < day - 2 * machine.longest_gap().days
    }
    late = {name for name, one in conditions.items() if one == "late"}
    assert long_silent <= late
    assert len(late - {machine.name for machine in machines if machine.silent_from is not None}) <= 4
    (lie,) = said["unproven"]
    assert lie["condition"] == "unproven"
    assert conditions[lie["machine"]] == "late"
    assert main(["rollcall", str(source), "--known", str(known), "--now", now]) == 1
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
