"""Alerts: what is told when, what not again, and what a power cut leaves."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep import alerts, open_changes, schema
from bootwatch.keep.history import History
from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from tests.keep.lives import UNSEEN, Life, change, finding, kinds, unread

STRANDED, DIVERTED, WEAKENED, CHANGED, ROUTINE = Level
NEWS, REMINDER, ALL_CLEAR = Kind.NEWS, Kind.REMINDER, Kind.ALL_CLEAR


def test_an_alert_opens_with_the_first_change_and_ends_with_an_all_clear() -> None:
    life, one = Life(), change("x", STRANDED)
    assert life.read(change("other", ROUTINE)) == [] and life.alert is None
    (told,) = life.read(one)
    assert (told.stage.kind, told.stage.number, told.alert.name) == (NEWS, 1, "a1")
    assert life.read(one) == []
    (over,) = life.read()
    assert (over.stage.kind, over.stage.level, over.stage.still_open) == (ALL_CLEAR, STRANDED, None)
    assert life.alert is None and life.read() == []
    (alert,) = alerts.listed(life.history)
    assert (alert.ended, alert.how, alert.level) == (life.time, "so", None)
    (again,) = life.read(one)
    assert again.alert.name == "a2" and again.alert.uid != alert.uid


def test_told_again_when_worse_and_not_when_better() -> None:
    life = Life()
    life.read(change("x", WEAKENED))
    assert kinds(life.read(change("x", STRANDED))) == [NEWS]
    # Something else is as bad: for nobody the worst is over.
    assert kinds(life.read(change("x", STRANDED), change("y", STRANDED))) == [NEWS]
    assert life.read(change("x", WEAKENED), change("y", STRANDED)) == []


def test_worse_again_after_an_all_clear_is_told() -> None:
    life = Life()
    life.read(change("x", STRANDED))
    (over,) = life.read(change("x", WEAKENED))
    assert (over.stage.kind, over.stage.level, over.stage.still_open) == (ALL_CLEAR, STRANDED, WEAKENED)
    assert life.read(change("x", WEAKENED)) == []
    assert kinds(life.read(change("x", STRANDED))) == [NEWS]


@pytest.mark.parametrize("better", [WEAKENED, CHANGED])
def test_what_is_wrong_by_itself_is_told_when_worse_and_not_when_better(better: Level) -> None:
    life, other = Life(), change("y", STRANDED)
    life.read(finding("f", STRANDED), other)
    assert life.read(finding("f", better), other) == []
    assert life.read(finding("f", STRANDED), other) == []
    assert kinds(life.read(finding("f", better))) == [ALL_CLEAR]
    assert kinds(life.read(finding("f", STRANDED))) == [NEWS]


def test_what_grew_worse_beside_news_was_told_with_them() -> None:
    life = Life()
    life.read(change("x", WEAKENED))
    worse, new = change("x", STRANDED), change("y", STRANDED)
    (told,) = life.read(worse, new)
    assert told.stage.news == (new.id,)
    assert life.read(worse, new) == []


def test_worse_than_the_last_message_said_is_told() -> None:
    life, other = Life(), change("y", STRANDED)
    life.read(change("x", STRANDED))
    assert kinds(life.read(change("x", WEAKENED), other)) == [NEWS]
    (told,) = life.read(change("x", STRANDED), other)
    assert told.stage.news == (change("x", STRANDED).id,)


def test_what_changed_back_is_as_bad_as_it_was_told_first() -> None:
    life, other = Life(), change("y", STRANDED)
    life.read(change("x", WEAKENED, "a"), other)
    assert kinds(life.read(change("x", STRANDED, "b"), other)) == [NEWS]
    assert life.read(change("x", WEAKENED, "a"), other) == []
    assert kinds(life.read(change("x", STRANDED, "a"), other)) == [NEWS]


@pytest.mark.parametrize(
    ("level", "days"), [(STRANDED, 7), (DIVERTED, 7), (WEAKENED, 30), (CHANGED, None), (ROUTINE, None)]
)
def test_reminders(level: Level, days: int | None) -> None:
    life, one = Life(), change("x", level)
    life.read(one)
    since = 0
    for _ in range(75):
        life.wait(days=1)
        since += 1
        told = life.read(one)
        assert kinds(told) == ([REMINDER] if since == days else [])
        since = 0 if told else since


def test_no_reminder_while_quiet_but_news_and_the_all_clear() -> None:
    life, one = Life(), change("x", STRANDED)
    life.read(one)
    life.wait(days=20)
    with life.history.transaction():
        alerts.set_quiet(life.history, 1, life.now.replace(day=25).isoformat())
    assert life.read(one) == []
    assert kinds(life.read(one, change("y", WEAKENED))) == [NEWS]
    assert kinds(life.read()) == [ALL_CLEAR]


def test_quiet_that_was_asked_for_ends_when_it_grows_worse() -> None:
    life, one = Life(), change("x", WEAKENED)
    life.read(one)
    with life.history.transaction():
        alerts.set_quiet(life.history, 1, life.now.replace(year=2030).isoformat())
    worse = replace(one, level=STRANDED)
    assert kinds(life.read(worse)) == [NEWS]
    life.wait(days=8)
    assert kinds(life.read(worse)) == [REMINDER]


def test_quiet_ends() -> None:
    life, one = Life(), change("x", STRANDED)
    life.read(one)
    with life.history.transaction():
        alerts.set_quiet(life.history, 1, life.now.replace(month=12, day=20).isoformat())
    life.wait(days=24)
    assert life.read(one) == []
    life.wait(days=1)
    assert kinds(life.read(one)) == [REMINDER]


def test_clock_that_is_put_back_reminds_a_week_later_and_not_at_once() -> None:
    life, one = Life(), change("x", STRANDED)
    life.wait(days=1000)
    life.read(one)
    life.wait(days=-1000)
    for _ in range(7):
        assert life.read(one) == []
        life.wait(days=1)
    assert kinds(life.read(one)) == [REMINDER]


def test_clock_that_jumps_to_and_fro_does_not_remind_each_time() -> None:
    """A dead battery: each boot begins in the past, until the time comes by network."""
    life, one = Life(), change("x", STRANDED)
    life.read(one)
    reminders = []
    for _ in range(20):
        life.wait(days=-9000)
        reminders += life.read(one)
        life.wait(days=9001)
        reminders += life.read(one)
    assert kinds(reminders) == [REMINDER] * 2


def test_nothing_is_over_while_something_cannot_be_seen() -> None:
    life, one = Life(), change("x", STRANDED)
    life.read(one)
    assert life.read(UNSEEN, gaps=(unread("gpt:a"),)) == []
    assert life.read(UNSEEN) == []
    assert kinds(life.read()) == [ALL_CLEAR]


def test_what_is_hidden_counts_as_it_was_told_last() -> None:
    life, other = Life(), change("y", CHANGED, volume="gpt:b")
    life.read(change("x", STRANDED, "a"), other)
    assert kinds(life.read(change("x", WEAKENED, "b"), other)) == [ALL_CLEAR, NEWS]
    assert life.read(other, gaps=(unread("gpt:a"),)) == []
    life.wait(days=29)
    assert life.read(other, gaps=(unread("gpt:a"),)) == []
    life.wait(days=1)
    (told,) = life.read(other, gaps=(unread("gpt:a"),))
    assert (told.stage.kind, told.stage.level) == (REMINDER, WEAKENED)


def test_what_was_routine_when_it_was_hidden_keeps_no_alert_open() -> None:
    life = Life()
    life.read(change("x", WEAKENED), change("y", STRANDED, volume="gpt:b"))
    life.read(change("x", ROUTINE), change("y", WEAKENED, volume="gpt:b"))
    (over,) = life.read(gaps=(unread("gpt:a"),))
    assert (over.stage.kind, over.stage.still_open) == (ALL_CLEAR, None)


def test_after_a_person_called_it_good_only_the_all_clear_is_told() -> None:
    life = Life()
    life.read(change("x", STRANDED))
    (over,) = life.read(change("y", CHANGED), only_clear=True)
    assert (over.stage.kind, over.stage.still_open) == (ALL_CLEAR, CHANGED)
    assert kinds(life.read(change("y", CHANGED))) == [NEWS]


def test_finding_that_a_person_saw_when_saving_is_over_and_stays_so_when_hidden() -> None:
    life, one = Life(), finding("f", WEAKENED)
    life.read(one)
    known = frozenset({one.id})
    assert kinds(life.read(one, known=known, only_clear=True)) == [ALL_CLEAR]
    life.read(one, change("y", CHANGED, volume="gpt:b"), known=known)
    (over,) = life.read(gaps=(unread("gpt:a"),), known=known)
    assert (over.stage.kind, over.stage.level) == (ALL_CLEAR, CHANGED)


# power cuts


@pytest.mark.parametrize("cut", ["begin", "spool", "confirm"])
@pytest.mark.parametrize("kind", [NEWS, REMINDER, ALL_CLEAR])
def test_power_cut_tells_at_least_once_and_never_under_two_ids(cut: str, kind: Kind) -> None:
    life, one = Life(), change("x", STRANDED)
    if kind is not NEWS:
        life.read(one)
        life.wait(days=8)
    items = [] if kind is ALL_CLEAR else [one]
    life.read(*items, cut=cut)
    life.read(*items)
    assert [told.stage.kind for told in life.spool.values()].count(kind) == 1
    assert all(
        stage.is_spooled and stage.message in life.spool for stage in alerts.listed(life.history)[0].stages
    )


def test_same_message_again_after_a_cut_has_the_same_id() -> None:
    life, one = Life(), change("x", STRANDED)
    life.read(one, cut="spool")
    (lost,) = life.spool  # the message went out, and the spool's folder was not on the disk yet
    life.spool.clear()
    (told,) = life.read(one)
    assert told.stage.message == lost


def test_news_that_are_gone_after_the_cut_are_forgotten_or_cleared() -> None:
    """What nobody can have heard of ends without a word; what was handed over, with an all-clear."""
    life = Life()
    life.read(change("x", STRANDED), cut="begin")
    assert life.read() == [] and alerts.listed(life.history) == []
    life.read(change("x", STRANDED), cut="spool")
    assert kinds(life.read()) == [ALL_CLEAR] and life.alert is None


def test_cut_between_all_clear_and_news_loses_no_news() -> None:
    life = Life()
    life.read(change("x", STRANDED), change("y", CHANGED))
    after = change("y", WEAKENED)
    assert kinds(life.read(after, cut="confirm")) == [ALL_CLEAR]
    assert kinds(life.read(after)) == [NEWS]
    assert life.read(after) == []


# what was there before


def test_what_an_earlier_version_told_of_opens_an_alert_without_telling_again() -> None:
    life, one = Life(), change("x", STRANDED)
    with life.history.transaction():
        open_changes.keep_open(life.history, Drift((one,), (), ()), 1)
        open_changes.mark_told(life.history, [one], "of an earlier version")
    assert life.read(one) == []
    assert life.alert and (life.alert.name, life.alert.level, life.alert.stages) == ("a1", STRANDED, ())
    life.wait(days=7)
    assert kinds(life.read(one)) == [REMINDER]
    assert kinds(life.read()) == [ALL_CLEAR]


def test_database_of_before_alerts() -> None:
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.execute("PRAGMA foreign_keys=ON")
    for step in schema._STEPS[:3]:
        database.executescript(step)
    database.execute("PRAGMA user_version = 3")
    one = change("x", WEAKENED)
    assert alerts.listed(History(database)) == []
    open_changes.keep_open(History(database), Drift((one,), (), ()), 1)
    open_changes.mark_told(History(database), [one], "of an earlier version")
    schema.prepare(database, Path("memory"))
    life = Life(History(database))
    assert life.read(one) == []
    assert kinds(life.read()) == [ALL_CLEAR]


def test_what_an_earlier_version_told_of_and_is_gone_is_no_alert() -> None:
    life, one = Life(), change("x", STRANDED)
    with life.history.transaction():
        open_changes.keep_open(life.history, Drift((one,), (), ()), 1)
        open_changes.mark_told(life.history, [one], "of an earlier version")
    assert life.read() == [] and alerts.listed(life.history) == []


def test_news_stay_readable() -> None:
    life, one = Life(), change("x", WEAKENED)
    life.read(one, finding("f", STRANDED))
    life.read()
    news, over = alerts.listed(life.history)[0].stages
    assert [item.what for item in alerts.news_of(life.history, news)] == ["x", "f"]
    assert alerts.news_of(life.history, over) == []


# signs of life


@pytest.mark.parametrize(("hours", "is_due"), [(6 * 24, False), (6 * 24 + 20, True)])
def test_sign_of_life(hours: int, is_due: bool) -> None:
    life = Life()
    assert alerts.is_sign_due(life.history, 7, life.time)
    _sign(life)
    life.wait(hours=hours)
    assert alerts.is_sign_due(life.history, 7, life.time) is is_due


def test_sign_of_life_after_the_clock_was_put_back() -> None:
    life = Life()
    life.read()
    _sign(life)
    life.wait(days=-400)
    life.read()
    assert not alerts.is_sign_due(life.history, 7, life.time)
    life.wait(days=7)
    assert alerts.is_sign_due(life.history, 7, life.time)


def _sign(life: Life) -> None:
    with life.history.transaction():
        alerts.note_sign(life.history, life.look, life.time, "m")
