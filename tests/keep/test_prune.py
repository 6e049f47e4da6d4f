"""The oldest snapshots are dropped; what is left can be read, and nothing that still counts is lost."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest

from bootwatch.keep import churn, open_changes, predictions, soundness
from bootwatch.keep.history import History
from bootwatch.keep.prune import prune
from bootwatch.model.change import Change, Custody, Drift
from bootwatch.model.habit import Habit, Sighting
from bootwatch.model.level import Level
from bootwatch.model.prediction import Outcome, Prediction, Start, Target, Verdict
from bootwatch.model.snapshot import Snapshot
from bootwatch.model.variable import Variable, key
from tests.keep.kept import kept
from tests.keep.lives import memory

ONE = Target("Boot0000", "gpt:a", "\\EFI\\fernwick\\x.efi", ("gpt:a", "\\EFI\\FERNWICK\\X.EFI", "e3"))
OTHER = Target("Boot0001", "gpt:a", None)
KEEP = 12
DRIFT = Drift((), (), ())


def snapshot(boot: int, step: int) -> Snapshot:
    """Of start ``boot``; ``step`` is what makes its state another than those before."""
    first = kept().snapshot
    variables = {**first.state.variables, key("Timeout"): Variable(7, bytes([step % 256, step // 256]))}
    circumstance = replace(first.circumstance, boot_id=f"boot {boot}", time=f"2026-11-01T00:{boot:02}:00Z")
    return replace(first, circumstance=circumstance, state=replace(first.state, variables=variables))


def record(history: History, boot: int, step: int, *, target: Target = ONE) -> int:
    """One snapshot, its prediction and its start."""
    with history.transaction():
        number = history.add(snapshot(boot, step), {"step": step // 2})
        predictions.keep(history, number, Prediction("BootOrder", ONE))
        outcome = (Outcome.RIGHT, Outcome.WRONG, Outcome.UNKNOWN, None)[boot % 4]
        verdict = Verdict(outcome, "so") if outcome else None
        custody = Custody.ELSEWHERE if boot % 2 else Custody.UNKNOWN
        seen = [Sighting(Habit.DROPS_EDITS, custody, f"seen {boot}")] if boot % 3 == 0 else []
        predictions.add_start(history, Start(number, target, number - 1, verdict), seen)
        history.set_result(number, "digest", DRIFT)
    return number


@pytest.fixture
def history() -> History:
    """Thirty starts, each with a snapshot of its own state; the second entry was used in the fifth alone."""
    history = memory()
    for boot in range(1, 31):
        record(history, boot, boot, target=OTHER if boot == 5 else ONE)
    return history


def numbers(history: History) -> list[int]:
    return [number for (number,) in history.database.execute("SELECT number FROM snapshot ORDER BY number")]


def prune_all(history: History, keep: int = KEEP) -> int:
    """Reading after reading, until nothing is left to be dropped; each time the history is whole."""
    total = 0
    while dropped := prune(history, keep):
        assert dropped <= 8
        assert list(soundness.faults(history)) == []
        history.database.text_factory = str
        total += dropped
    return total


def test_the_newest_stay_and_come_back_as_they_were(history: History) -> None:
    before = {number: history.snapshot(number) for number in range(19, 31)}
    assert prune_all(history) == 18
    assert numbers(history) == list(before)
    assert {number: history.snapshot(number) for number in before} == before
    # No number is given twice, even if all but one were dropped.
    assert prune_all(history, 1) == 11
    assert record(history, 31, 1) == 31


@pytest.mark.long
def test_what_is_not_needed_is_gone(history: History) -> None:
    def count(table: str) -> int:
        return int(history.database.execute(f"SELECT count(*) FROM {table}").fetchone()[0])

    prune_all(history, 1)
    newest = history.part_digests(30)
    assert count("document") == 6  # its circumstance, state, gaps, overview, result and prediction
    # Of its parts one is the last of thirty differences in a row: what they lead from stays with it.
    assert count("part") == len(newest) - 1 + 30
    for step in range(31, 75):
        record(history, step, step)
        prune(history, 1)
    assert count("part") <= len(newest) - 1 + 41
    assert count("snapshot") == count("start") == count("prediction") == 1


@pytest.mark.long
def test_what_is_named_elsewhere_stays(history: History) -> None:
    """The same state came again; and one part is an imported snapshot's."""
    again = record(history, 31, 2)
    imported = history.part_digests(3)["variables"]
    history.database.execute(
        "INSERT INTO imported (digest, document, parts) VALUES ('d', '{}', ?)",
        (f'{{"variables":"{imported}"}}',),
    )
    expected = history.snapshot(again).state
    while prune(history, 1):
        pass
    assert history.snapshot(again).state == expected
    assert history.parts_by_digest({"variables": imported})["variables"]


def test_the_record_of_starts_is_summed_up(history: History) -> None:
    before = predictions.summary(history)
    habits, starts = predictions.habits(history), predictions.starts(history)
    used = predictions.used(history)
    prune_all(history)
    after = predictions.summary(history)
    assert {**after, "misses": []} == {**before, "misses": []}
    assert [miss["snapshot"] for miss in after["misses"]] == [29, 25, 21]  # those that are kept
    assert (predictions.habits(history), predictions.starts(history)) == (habits, starts)
    assert predictions.used(history) == used == {ONE: 30, OTHER: 5}
    assert habits[0].what == "seen 30" and habits[0].count == 10 and habits[0].proven == 5


def test_what_is_known_of_the_time_of_an_open_change_stays(history: History) -> None:
    change = Change(
        "loader-missing:1", "loader-missing", Level.WEAKENED, None, "it", "", None, None, between=(4, 6)
    )
    with history.transaction():
        open_changes.keep_open(history, Drift((change,), (), ()), 6)
        churn_rows = [("gpt:q", "\\STORE", 3, 1, 9, 9), ("gpt:q", "\\OLD", 3, 1, 5, 5)]
        history.database.executemany("INSERT INTO churn VALUES (?, ?, ?, ?, ?, ?)", churn_rows)
    assert prune_all(history) == 18 - 5
    # From the last one without it to the first with it; and what changed in snapshot 9 it is held against 8.
    assert numbers(history) == [4, 5, 6, 8, 9, *range(19, 31)]
    assert [number for number, _ in history.circumstances(4, 6, 500)] == [4, 5, 6]
    # Once it is over they go.
    with history.transaction():
        open_changes.keep_open(history, DRIFT, 30)
    assert prune_all(history) == 5
    assert numbers(history) == list(range(19, 31))
    assert history.database.execute("SELECT number FROM anchor").fetchall() == [(18,)]
    assert churn.past(history, snapshot(30, 30).circumstance).changed_in[("gpt:q", "\\STORE")] == 9


@pytest.mark.long
def test_what_is_lost_beside_it_is_still_found(history: History) -> None:
    prune_all(history)
    for statement in (
        "DELETE FROM record WHERE number = 19",
        "DELETE FROM anchor",
        "UPDATE anchor SET link = zeroblob(32)",
        "UPDATE former_outcome SET starts = starts + 1",
        "DELETE FROM former_target WHERE file IS NULL",
        "UPDATE former_habit SET what = 'seen 1'",
    ):
        history.database.execute("SAVEPOINT whole")
        history.database.execute(statement)
        assert list(soundness.faults(history)), statement
        history.database.execute("ROLLBACK TO whole")
    assert list(soundness.faults(history)) == []


class PowerCut(Exception):
    pass


class Failing:
    """A connection that fails at one statement."""

    def __init__(self, database: sqlite3.Connection, at: int) -> None:
        self._database, self._left = database, at

    def execute(self, *given: object) -> sqlite3.Cursor:
        self._left -= 1
        if self._left == 0:
            raise PowerCut
        return self._database.execute(*given)  # type: ignore[arg-type]

    def __getattr__(self, name: str) -> object:
        return getattr(self._database, name)


@pytest.mark.long
def test_whichever_statement_is_the_last(history: History) -> None:
    """Cut off at each: all of it is there or none, and the next reading goes on."""
    own, before = history.database, list(history.database.iterdump())
    at = 0
    while True:
        at += 1
        history.database = Failing(own, at)  # type: ignore[assignment]
        try:
            assert prune(history, KEEP) == 8
            break
        except PowerCut:
            history.database = own
            if own.in_transaction:  # cut off before its last word
                own.execute("ROLLBACK")
            assert list(own.iterdump()) == before, at
    history.database = own
    assert at > 100
    assert prune_all(history) == 10
    assert numbers(history) == list(range(19, 31))
