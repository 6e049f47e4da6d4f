"""What is expected, and so told to nobody."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge.acceptance import Known, Rules, settled
from bootwatch.judge.drift import compare
from bootwatch.judge.evidence import Span
from bootwatch.judge.systems import Systems
from bootwatch.judge.weigh import Rule, Weights
from bootwatch.model.change import Change, Custody
from bootwatch.model.level import Level
from bootwatch.model.package import Action, PackageChange
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from tests.judge.installed import ON_ATTIC, ON_HALL, RELEASE, program, two_systems
from tests.judge.states import FERNWICK, QUARRY

STOP = Circumstance("a", Moment.SHUTDOWN, "2026-03-01T20:00:00Z")
NOW = Circumstance("b", Moment.BOOT, "2026-03-02T07:00:00Z")
BEFORE = two_systems(system=RELEASE)
PACKAGES = (PackageChange(Action.UPDATED, "fernwick-loader", "1", "2"),)
ELSEWHERE = Span((STOP, NOW), Custody.ELSEWHERE)
HERE = Span((NOW, NOW), Custody.HERE)
UPDATED = Span((NOW, replace(NOW, packages=PACKAGES)), Custody.HERE)


def changed(now: State, change: str) -> tuple[Change, Systems]:
    found = compare(BEFORE, (), Snapshot(NOW, now))
    one = next(one for one in found.drift.changes if one.change == change)
    return one, found.scene.systems


def of_fernwick() -> tuple[Change, Known]:
    now = two_systems(hall={**ON_HALL, FERNWICK: program("fernwick 2")}, system=RELEASE)
    change, systems = changed(now, "loader-changed")
    assert (change.system, change.level) == ("Fernwick Linux", Level.CHANGED)
    return change, Known(systems, now)


def of_quarry(*started: str) -> tuple[Change, Known]:
    now = two_systems(attic={**ON_ATTIC, QUARRY: program("quarry 2")}, system=RELEASE)
    change, systems = changed(now, "loader-changed")
    assert (change.system, change.level) == ("Quarry", Level.CHANGED)
    return change, Known(systems, now, frozenset(started), frozenset({"Fernwick Linux", "Quarry"}))


def test_own_update_by_a_package_is_expected() -> None:
    change, known = of_fernwick()
    found = settled(change, UPDATED, Rules(), known)
    assert found.level is Level.ROUTINE
    assert "updated fernwick-loader (2)" in found.accepted


def test_own_loader_without_a_package_is_not() -> None:
    change, known = of_fernwick()
    assert settled(change, HERE, Rules(), known) == change


def test_own_loader_changed_by_somebody_else_is_not() -> None:
    change, known = of_fernwick()
    span = replace(ELSEWHERE, looks=(STOP, replace(NOW, packages=PACKAGES)))
    assert settled(change, span, Rules(), known) == change


def test_other_systems_update_of_its_own_loader_is_quiet_and_open_until_proven() -> None:
    change, known = of_quarry()
    found = settled(change, ELSEWHERE, Rules(), known)
    assert (found.level, found.accepted) == (Level.ROUTINE, "")


def test_first_loader_of_a_new_system_is_no_update() -> None:
    change, known = of_quarry()
    assert settled(change, ELSEWHERE, Rules(), replace(known, before=frozenset())) == change


def test_other_systems_loader_changed_while_it_was_never_started_is_told() -> None:
    change, known = of_quarry("Quarry", "Fernwick Linux")
    looks = (replace(STOP, tpm_resets=7), replace(NOW, tpm_resets=8))
    assert settled(change, replace(ELSEWHERE, looks=looks), Rules(), known) == change


def test_other_systems_update_is_accepted_once_both_started_since() -> None:
    for started, accepted in ((("Quarry",), False), (("Quarry", "Fernwick Linux"), True)):
        change, known = of_quarry(*started)
        found = settled(change, ELSEWHERE, Rules(), known)
        assert (found.level, bool(found.accepted)) == (Level.ROUTINE, accepted)


def test_this_system_writing_the_others_loader_is_told() -> None:
    change, known = of_quarry("Quarry", "Fernwick Linux")
    assert settled(change, UPDATED, Rules(), known) == change


def test_other_systems_program_in_the_place_of_the_loader_is_told() -> None:
    now = two_systems(attic={**ON_ATTIC, QUARRY: program("fernwick")}, system=RELEASE)
    change, systems = changed(now, "loader-changed")
    assert settled(change, ELSEWHERE, Rules(), Known(systems, now)).level is not Level.ROUTINE


def test_what_takes_a_way_is_never_accepted() -> None:
    now = two_systems(hall={}, system=RELEASE)
    found = compare(BEFORE, (), Snapshot(NOW, now))
    change = next(one for one in found.drift.changes if one.change == "loader-missing")
    assert change.level is Level.STRANDED
    assert settled(change, UPDATED, Rules(), Known(found.scene.systems, now)) == change


def test_settings_decide_up_to_which_level_and_rules_of_theirs_hold() -> None:
    change, known = of_fernwick()
    assert settled(change, UPDATED, Rules(most=Level.ROUTINE), known) == change
    named = Weights((Rule(Level.CHANGED, change="loader-changed", path="\\EFI\\fernwick\\*"),))
    assert settled(change, UPDATED, Rules(weights=named), known) == change
