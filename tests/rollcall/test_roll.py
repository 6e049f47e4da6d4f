"""What is said of machines, and what nobody can make it say."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.rollcall.heard import stories
from bootwatch.rollcall.known import Known
from bootwatch.rollcall.roll import Condition, Roll, Row, call
from bootwatch.rollcall.sighting import Sighting
from tests.rollcall.fleet import sighting

BEGIN = datetime.datetime(2026, 3, 2, 8, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)
KNOWN = Known({f"key of {name}": frozenset({name}) for name in ("study", "kitchen")})


def at(day: float) -> datetime.datetime:
    return BEGIN + day * DAY


def signs(name: str = "study", until: int = 70, **how: str | None) -> list[Sighting]:
    """One each week; on every day in between."""
    return [
        sighting(name, 10 + day, at(day), tuple(at(day - back) for back in range(20)), **how)  # type: ignore[arg-type]
        for day in range(0, until + 1, 7)
    ]


def rolled(sightings: Sequence[Sighting], day: float) -> Roll:
    return call(sightings, KNOWN, at(day))


def row(roll: Roll, name: str = "study") -> Row:
    (found,) = (one for one in roll.proven if one.name == name)
    return found


def test_well_then_late() -> None:
    assert row(rolled(signs(), 71)).condition is Condition.WELL
    assert row(rolled(signs(), 79.9)).condition is Condition.WELL
    late = row(rolled(signs(), 80.5))
    assert late.condition is Condition.LATE
    assert late.limit == 10 * DAY


def test_what_is_in_the_list_and_was_never_heard() -> None:
    assert [(one.name, one.condition) for one in rolled(signs(), 71).proven] == [
        ("kitchen", Condition.NEVER),
        ("study", Condition.WELL),
    ]


def test_an_alert_then_silence() -> None:
    alert = sighting("study", 85, at(71), kind=Kind.NEWS, level=Level.STRANDED)
    said = row(rolled([*signs(), alert], 75))
    assert (said.condition, said.level) == (Condition.ALERT, Level.STRANDED)
    assert row(rolled([*signs(), alert], 82)).condition is Condition.LOST
    over = sighting("study", 86, at(73), kind=Kind.ALL_CLEAR)
    assert row(rolled([*signs(), alert, over], 75)).condition is Condition.WELL


def test_only_alerts_and_all_well_now() -> None:
    mails = [
        sighting("study", 3, at(0), kind=Kind.NEWS, level=Level.WEAKENED),
        sighting("study", 9, at(4), kind=Kind.ALL_CLEAR),
    ]
    assert row(rolled(mails, 300)).condition is Condition.MUTE


def test_the_order_is_that_of_snapshots_and_not_of_mails() -> None:
    alert = sighting("study", 81, at(71), came=at(71.1), kind=Kind.NEWS, level=Level.DIVERTED)
    before = sighting("study", 80, at(70.9), came=at(74))
    assert row(rolled([alert, *signs(), before], 75)).condition is Condition.ALERT


@pytest.mark.parametrize("key", [None, "key of nobody", "key of kitchen"])
def test_what_is_not_proven_overrides_nothing(key: str | None) -> None:
    alert = sighting("study", 85, at(71), kind=Kind.NEWS, level=Level.STRANDED)
    lies = [sighting("study", 900 + day, at(day), key=key) for day in (72, 79, 86)]
    roll = rolled([*signs(), alert, *lies], 88)
    assert row(roll).condition is Condition.LOST
    (claim,) = roll.unproven
    assert (claim.name, claim.condition) == ("study", Condition.CLAIM)
    assert claim.doubt


def test_nor_does_it_make_a_company_for_what_is_late() -> None:
    others = [one for number in range(30) for one in signs(f"made-up-{number}", key=None)]
    assert row(rolled([*signs(), *others], 85)).condition is Condition.LATE


def test_an_old_claim_is_not_held_against_anybody() -> None:
    assert not rolled([*signs(), sighting("study", 5, at(-1), key=None)], 71).unproven
    assert not rolled([*signs(), *signs("cellar", 14)], 71).unproven
    assert call(signs("cellar", 14), Known({}), at(71)).unproven


def test_sent_again_it_changes_nothing() -> None:
    """Somebody sends what was sent before, with a new date on it."""
    mails = signs()
    plain = rolled(mails, 90)
    for index in (3, -1):
        again = replace(mails[index], came=at(89), dated=at(89))
        older = replace(mails[index], came=at(89), dated=mails[index].state.time)
        assert rolled([*mails, again, older, again], 90) == plain
        assert rolled([again, older, *mails], 90) == plain
    # An old one whose original is not in the box any more.
    rest = [one for one in mails if one is not mails[3]]
    again = replace(mails[3], came=at(89), dated=mails[3].state.time)
    assert row(rolled([*rest, again], 90)).condition is Condition.LATE


def test_many_together_are_one_thing() -> None:
    names = [f"lab-{number}" for number in range(5)]
    known = Known({f"key of {name}": frozenset({name}) for name in names})
    mails = [one for name in names for one in signs(name)]
    assert {one.condition for one in call(mails, known, at(85)).proven} == {Condition.TOGETHER}
    fewer = [one for name in names[:4] for one in signs(name)]
    four = call([*fewer, *signs("lab-4", 84)], known, at(85)).proven
    assert [one.condition for one in four] == [Condition.LATE] * 4 + [Condition.WELL]


def test_a_machine_that_was_set_up_anew() -> None:
    """It counts from 1 again, with another id or with the same."""
    mails = signs(until=35)
    new = [sighting("study", 1 + day, at(42 + day)) for day in (0, 7, 14)]
    other_id = [replace(one, state=replace(one.state, id="f" * 32)) for one in new]
    for again in (new, other_id):
        last = row(rolled([*mails, *again], 57)).story
        assert last and last.last.state.snapshot == 15


def test_two_machines_of_one_name() -> None:
    """The silent one is not hidden by the other."""
    other = [replace(one, state=replace(one.state, id="f" * 32)) for one in signs(until=49)]
    rows = [one for one in rolled([*signs(), *other], 71).proven if one.name == "study"]
    assert [(one.condition, one.is_alone) for one in rows] == [
        (Condition.LATE, False),
        (Condition.WELL, False),
    ]


def test_what_is_always_on_is_known_by_its_mails() -> None:
    """Between two starts, months apart, it was not off."""
    starts = (at(-1), at(-80), at(-160))
    mails = [sighting("study", 10 + day, at(day), starts) for day in range(3, 40, 7)]
    assert row(rolled(mails, 47)).condition is Condition.WELL
    assert row(rolled(mails, 49)).condition is Condition.LATE


def test_a_clock_that_is_wrong() -> None:
    ahead = sighting("study", 90, at(4000), came=at(71))
    behind = [sighting("study", 100 + day, at(day - 3000), came=at(day)) for day in (78, 85)]
    behind = [replace(one, dated=one.state.time) for one in behind]
    (story,) = stories([*signs(), ahead, *behind], at(86))
    assert [one.time for one in story.heard[-3:]] == [at(71), at(78), at(85)]
    assert [round(one.clock / DAY) for one in story.heard[-4:]] == [0, 3929, -3000, -3000]


def test_without_a_list_it_works_all_the_same() -> None:
    roll = call(signs(), Known({}), at(85))
    (only,) = roll.unproven
    assert (only.name, only.condition, roll.proven) == ("study", Condition.LATE, ())
