"""Predictions in the history: what is counted, what is proven, and a database from before there were any."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep import predictions
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.keep.schema import VERSION
from bootwatch.model.change import Custody
from bootwatch.model.habit import Habit, Sighting
from bootwatch.model.prediction import Outcome, Prediction, Start, Target, Verdict
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State

SAMPLES = Path(__file__).parent / "samples"
FERNWICK = Target(
    "Boot0000",
    "gpt:1f3b7c58",
    "\\EFI\\fernwick\\loaderx64.efi",
    ("gpt:1f3b7c58", "\\EFI\\FERNWICK\\LOADERX64.EFI", "e3"),
)
DEFAULT = Target(None, "gpt:1f3b7c58", "\\EFI\\BOOT\\BOOTX64.EFI")
EMPTY = {"right": 0, "judged": 0, "unknown": 0, "misses": [], "habits": [], "proven": {}}


def record(history: History, day: int, boot_id: str | None = "b") -> int:
    """An empty machine's snapshot of that day of November."""
    snapshot = Snapshot(Circumstance(boot_id, Moment.BOOT, f"2026-11-{day:02}T07:00:00Z"), State())
    return history.add(snapshot, {})


def start(
    history: History, day: int, outcome: Outcome | None, target: Target | None = FERNWICK, *seen: Sighting
) -> int:
    number = record(history, day)
    verdict = Verdict(outcome, f"because of {day}") if outcome else None
    predictions.add_start(
        history, Start(number, target, number - 1 if verdict else None, verdict), list(seen)
    )
    return number


def test_record_counts_right_and_wrong_and_keeps_unknown_apart(tmp_path: Path) -> None:
    with History.open(tmp_path) as history, history.transaction():
        start(history, 1, None)
        for day, outcome in enumerate(
            (Outcome.RIGHT, Outcome.WRONG, Outcome.UNKNOWN, Outcome.RIGHT, Outcome.WRONG), 2
        ):
            start(history, day, outcome)
        found = predictions.record(history)
    assert (found.right, found.judged, found.unknown) == (2, 4, 1)
    assert [miss.to_json() for miss in found.wrong] == [
        {"snapshot": 6, "time": "2026-11-06T07:00:00Z", "predicted": 5, "why": "because of 6"},
        {"snapshot": 3, "time": "2026-11-03T07:00:00Z", "predicted": 2, "why": "because of 3"},
    ]


def test_only_the_newest_misses_are_named(tmp_path: Path) -> None:
    with History.open(tmp_path) as history, history.transaction():
        start(history, 1, None)
        for day in range(2, 29):
            start(history, day, Outcome.WRONG)
        found = predictions.record(history)
    assert (found.judged, len(found.wrong), found.wrong[0].snapshot) == (27, 20, 28)


def test_proven_by_its_newest_use(tmp_path: Path) -> None:
    renumbered = replace(FERNWICK, entry="Boot0007", file="\\efi\\FERNWICK\\loaderx64.efi")
    with History.open(tmp_path) as history, history.transaction():
        start(history, 1, None)
        start(history, 2, Outcome.RIGHT, renumbered)
        start(history, 3, Outcome.RIGHT, DEFAULT)
        start(history, 4, Outcome.UNKNOWN, Target(volume="gpt:1f3b7c58"))
        start(history, 5, Outcome.UNKNOWN, None)
        proven = predictions.proven(history)
    second, third = ({"date": f"2026-11-0{day}T07:00:00Z", "snapshot": day} for day in (2, 3))
    assert proven == {
        "entry|gpt:1f3b7c58|\\EFI\\FERNWICK\\LOADERX64.EFI|e3": second,
        "file|gpt:1f3b7c58|\\EFI\\FERNWICK\\LOADERX64.EFI": second,
        "file|gpt:1f3b7c58|\\EFI\\BOOT\\BOOTX64.EFI": third,
    }
    assert set(FERNWICK.keys) | set(DEFAULT.keys) == set(proven)


def test_habit_counts_and_remembers_the_last_time(tmp_path: Path) -> None:
    proven = Sighting(Habit.DROPS_EDITS, Custody.ELSEWHERE, "first")
    unproven = Sighting(Habit.DROPS_EDITS, Custody.UNKNOWN, "second")
    once = Sighting(Habit.DELETES_ABSENT, Custody.UNKNOWN, "a disk")
    with History.open(tmp_path) as history, history.transaction():
        start(history, 1, None)
        start(history, 2, Outcome.RIGHT, FERNWICK, proven)
        start(history, 3, Outcome.RIGHT, FERNWICK, unproven, once)
        start(history, 4, Outcome.RIGHT)
        found = predictions.habits(history)
        summary = predictions.summary(history)
    drops, deletes = found
    assert (drops.habit, drops.count, drops.proven, drops.restarts) == (Habit.DROPS_EDITS, 2, 1, 3)
    assert (drops.last, drops.snapshot, drops.what) == ("2026-11-03T07:00:00Z", 3, "second")
    assert (deletes.habit, deletes.count) == (Habit.DELETES_ABSENT, 1)
    assert [habit["habit"] for habit in summary["habits"]] == ["drops-edits"]
    assert summary["right"] == 3


def test_prediction_comes_back_and_equal_ones_are_stored_once(tmp_path: Path) -> None:
    predicted = Prediction("BootOrder", FERNWICK, "Fernwick Linux", certain=False, others=(FERNWICK, DEFAULT))
    with History.open(tmp_path) as history, history.transaction():
        numbers = [record(history, day) for day in (1, 2, 3)]
        documents = "SELECT count(*) FROM document"
        before = history.database.execute(documents).fetchone()[0]
        for number in numbers[:2]:
            predictions.keep(history, number, predicted)
        assert history.database.execute(documents).fetchone()[0] == before + 1
        assert [predictions.prediction_of(history, number) for number in numbers] == [
            predicted,
            predicted,
            None,
        ]


def test_no_start_yet(tmp_path: Path) -> None:
    with History.open(tmp_path) as history:
        assert predictions.summary(history) == EMPTY
        assert predictions.last_look(history, 1) is None


# a database that version 1 wrote: two starts of two snapshots each (samples/history_1.sql)


@pytest.fixture
def first_version(tmp_path: Path) -> Path:
    with sqlite3.connect(tmp_path / FILE_NAME) as database:
        database.executescript((SAMPLES / "history_1.sql").read_text())
    database.close()
    return tmp_path


def version(folder: Path) -> int:
    with History.look(folder) as history:
        assert history
        return int(history.database.execute("PRAGMA user_version").fetchone()[0])


def test_first_version_can_be_looked_at_as_it_is(first_version: Path) -> None:
    with History.look(first_version) as history:
        assert history
        assert [row.number for row in history.rows()] == [4, 3, 2, 1]
        assert predictions.summary(history) == EMPTY
        assert predictions.verdicts(history) == {}
    assert version(first_version) == 1


@pytest.mark.long
@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE snapshot SET circumstance = '{oops' WHERE number = 2",
        "UPDATE snapshot SET circumstance = '[]' WHERE number = 2",
        "UPDATE snapshot SET circumstance = json_set(circumstance, '$.time', 5) WHERE number = 2",
        "UPDATE snapshot SET circumstance = json_set(circumstance, '$.moment', NULL) WHERE number = 2",
        "DELETE FROM document WHERE digest = (SELECT gaps FROM snapshot WHERE number = 2)",
    ],
    ids=["text", "kind", "time", "moment", "document"],
)
def test_first_version_with_a_damaged_record_is_put_aside(first_version: Path, damage: str) -> None:
    with sqlite3.connect(first_version / FILE_NAME) as database:
        database.execute(damage)
    database.close()
    with History.open(first_version) as history:
        assert history.rows() == []
    [aside] = first_version.glob(f"{FILE_NAME}.damaged-*")
    with sqlite3.connect(aside) as database:
        assert database.execute("SELECT count(*) FROM snapshot").fetchone() == (4,)
    database.close()


def test_first_version_is_brought_up_to_date_and_keeps_what_it_held(first_version: Path) -> None:
    with History.look(first_version) as old:
        assert old
        held = [old.snapshot(number) for number in (1, 2, 3, 4)]
    with History.open(first_version) as history:
        assert [history.snapshot(number) for number in (1, 2, 3, 4)] == held
        assert [snapshot.circumstance.moment.value for snapshot in held] == [
            "boot",
            "asked",
            "boot",
            "shutdown",
        ]
        assert [row.result is not None for row in history.rows()] == [True, True, True, False]
        assert predictions.summary(history) == EMPTY
        with history.transaction():
            assert start(history, 5, Outcome.RIGHT) == 5
        assert history.database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert version(first_version) == VERSION


def test_bringing_up_to_date_is_all_or_nothing(first_version: Path) -> None:
    """Something stands in the way of the last new table: none of them is there, and version 1 still is."""
    with sqlite3.connect(first_version / FILE_NAME) as database:
        database.execute("CREATE INDEX sighting ON snapshot(time)")
    database.close()
    with pytest.raises(Exception, match="can't be used"), History.open(first_version):
        pass
    with History.look(first_version) as history:
        assert history
        tables = {name for (name,) in history.database.execute("SELECT name FROM sqlite_master")}
        assert not {"prediction", "start"} & tables
    assert version(first_version) == 1
