"""No step of any plan takes a start away; where one is cut off, the next brings it to its end."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import pytest

from bootwatch.judge.drift import compare
from bootwatch.judge.sides import Sides
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.recover.allowed import require_allowed
from bootwatch.recover.harmless import is_no_worse, standing
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.relocate import relocated
from tests.recover.plans import DAMAGES, looked_at, whole
from tests.situations.machine import Machine
from tests.situations.play import load, names
from tests.situations.steps import Course

pytestmark = pytest.mark.long
Copies = Callable[[str], bool]
ON_THE_USUAL: dict[str, dict[str, object]] = {
    "kernels gone": {
        "files on fernwick-esp": {"\\fernwick\\7.1\\linux": "gone", "\\fernwick\\7.0\\linux": "gone"}
    },
    "loader gone": {"files on fernwick-esp": {"\\EFI\\fernwick\\loaderx64.efi": "gone"}},
    "volume made anew": {"volume fernwick-esp": {"serial": "0000-1111"}},
    "volume with another identifier": {"volume quarry-esp": {"id": "81b2c3d4-e5f6-4a07-9b18-2c3d4e5f6a17"}},
    "volume with another number": {"volume fernwick-esp": {"number": 7}},
    "entry gone": {"entry Fernwick Linux": "gone but listed"},
    "entry off": {"entry Quarry": "inactive"},
    "order turned": {"order": ["Attic Disk", "Quarry", "Hall Disk"]},
    "default file taken": {"files on fernwick-esp": {"\\EFI\\BOOT\\BOOTX64.EFI": "program quarry-loader 11"}},
    "next set": {"next": "Quarry"},
}


def planned(before: Snapshot, now: Snapshot, copies: Copies) -> tuple[Plan, Sides]:
    placed = relocated(before.state, now.state.disks)
    drift = compare(placed.state, before.gaps, now).drift
    sides = Sides(placed.state, now.state, before.gaps, now.gaps, None, now.circumstance)
    return plan(sides, now, drift, copies, (), placed.moves), sides


def require_harmless(before: Snapshot, now: Snapshot, copies: Copies = lambda own: True) -> Plan:
    """The plan, held against both; a run of it is cut off after each step, and begun again."""
    found, sides = planned(before, now, copies)
    require_allowed(found.steps, sides.before, now.state.variables)
    state, reached = now.state, standing(now.state, now.gaps, sides.systems)
    state = replace(state, texts=found.state.texts)
    cut: list[State] = [state]
    for step in found.steps:
        state = step.after(state)
        then = standing(state, now.gaps, sides.systems)
        assert is_no_worse(then, reached), f"{step.what} takes a start away"
        reached = then
        cut.append(state)
    assert state == found.state
    for place in cut:
        again, _ = planned(before, Snapshot(now.circumstance, place, now.gaps), copies)
        require_allowed(again.steps, sides.before, place.variables)
        assert standing(again.state, now.gaps, sides.systems) == reached, "a second run ends elsewhere"
    return found


def ends(name: str) -> tuple[Snapshot, Snapshot]:
    """The one that was saved, and the last one."""
    said = load(name)
    course = Course(Machine.load(said["machine"]))
    course.change(said.get("baseline", {}))
    first = course.step({"moment": "asked"})
    return first, [course.step(step) for step in said["then"]][-1]


@pytest.mark.parametrize("name", names())
def test_situation(name: str) -> None:
    require_harmless(*ends(name))


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(DAMAGES, 2)))
def test_two_damages(one: str, other: str) -> None:
    found = require_harmless(looked_at(whole()), looked_at(DAMAGES[other](DAMAGES[one](whole()))))
    before, after = looked_at(whole()), looked_at(found.state)
    assert planned(before, after, lambda own: True)[0].steps == ()


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(ON_THE_USUAL, 2)))
def test_two_damages_where_kernels_are_followed(one: str, other: str) -> None:
    course = Course(Machine.load("usual"))
    before = course.step({"moment": "asked"})
    course.change(ON_THE_USUAL[one])
    now = course.step({"moment": "watch", **ON_THE_USUAL[other]})
    found = require_harmless(before, now)
    assert {system.name: system.how.value for system in found.then.systems} == {
        "Fernwick Linux": "by itself",
        "Quarry": "by itself",
    }
