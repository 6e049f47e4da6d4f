"""How long a silence is explained, by histories written down by hand."""

from __future__ import annotations

import datetime

from bootwatch.model.level import Level
from bootwatch.rollcall.rhythm import Rhythm, learn
from bootwatch.rollcall.together import enough, shared, silent_together

MONDAY = datetime.datetime(2026, 3, 2, 8, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)


def days(*numbers: int) -> list[datetime.datetime]:
    return [MONDAY + number * DAY for number in numbers]


WORKDAYS = [week * 7 + day for week in range(8) for day in range(5)]


def test_of_an_office() -> None:
    rhythm = learn(days(*WORKDAYS), days(0, 7, 14, 21))
    assert rhythm.every == 7 * DAY
    # Each day of the week comes again a week later; what is overdue is the quarter of a day that a sign may
    # come early.
    assert rhythm.wait == datetime.timedelta(hours=6)
    assert rhythm.limit() == 10 * DAY


def test_a_leave_is_learnt() -> None:
    leave = [day for day in WORKDAYS if not 21 <= day < 35]
    rhythm = learn(days(*leave), days(0, 7, 14, 35, 42))
    # After a sign on day 14 the next one is due on day 21, and it is on again on day 35.
    assert rhythm.wait == 14 * DAY + datetime.timedelta(hours=6)
    limit = rhythm.limit()
    assert limit and 31 * DAY < limit < 32 * DAY


def test_a_pause_that_others_make_too_is_none_of_its_own() -> None:
    leave = [day for day in WORKDAYS if not 21 <= day < 35]
    (span,) = shared([days(*leave)] * 5)
    assert span == (MONDAY + 18 * DAY, MONDAY + 35 * DAY)
    assert learn(days(*leave), days(0, 7, 14, 35, 42), [span]).wait == datetime.timedelta(hours=6)


def test_few_make_no_company() -> None:
    leave = [day for day in WORKDAYS if not 21 <= day < 35]
    assert shared([days(*leave)] * 4) == []
    assert shared([days(*leave)] * 5 + [days(*WORKDAYS)] * 96) == []
    assert [enough(count) for count in (1, 100, 101, 200)] == [5, 5, 6, 10]
    # What is usual for a machine is no holiday, whoever does the same.
    assert shared([days(*range(0, 100, 6))] * 9) == []


def test_heard_last_in_the_same_days() -> None:
    assert silent_together(days(0, 3, 8, 30)) == [3, 3, 3, 1]


def test_what_never_gives_a_sign_is_never_late() -> None:
    rhythm = learn(days(*WORKDAYS), [])
    assert rhythm.every is None
    assert rhythm.limit() is None
    assert rhythm.usual() is None
    # But an alert is repeated each week, so that one's silence says something.
    assert rhythm.limit(Level.STRANDED) == 10 * DAY
    assert rhythm.limit(Level.CHANGED) is None


def test_with_one_sign_a_month_is_assumed() -> None:
    rhythm = learn(days(0), days(0))
    assert (rhythm.every, rhythm.is_guessed) == (30 * DAY, True)
    assert rhythm.limit(Level.DIVERTED) < rhythm.limit()  # type: ignore[operator]


def test_the_less_is_known_the_more_is_allowed() -> None:
    limits = [Rhythm(7 * DAY, False, 10 * DAY, known).limit() for known in (1, 5, 50)]
    assert limits == [72 * DAY, 32 * DAY, 23 * DAY]


def test_interval_that_the_machine_says_itself_counts_at_once() -> None:
    signs = days(0, 7, 14, 21)
    assert learn(days(*WORKDAYS), signs, said=30).every == datetime.timedelta(days=30)
    assert learn(days(*WORKDAYS), [], said=7).every == datetime.timedelta(days=7)
    assert learn(days(*WORKDAYS), signs, said=0).usual() is None
