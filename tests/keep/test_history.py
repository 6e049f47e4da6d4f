"""The history: what it costs and what comes back out of it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from bootwatch.keep.history import FILE_NAME, History
from bootwatch.keep.open_changes import keep_open, mark_told, news, spans
from bootwatch.model.change import Change, Drift
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Snapshot
from bootwatch.problem import Problem
from tests.judge.looks import look
from tests.roots import FERNWICK_LOADER, Root, program


def record(history: History, snapshot: Snapshot) -> int:
    with history.transaction():
        return history.add(snapshot, {})


def count(history: History, table: str) -> int:
    return int(history.database.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def test_snapshot_comes_back_as_it_was(tmp_path: Path, hall: Root) -> None:
    snapshot = look(hall)
    with History.open(tmp_path) as history:
        number = record(history, snapshot)
        assert history.snapshot(number) == snapshot.numbered(number)


def test_unchanged_boot_costs_a_row(tmp_path: Path, hall: Root) -> None:
    with History.open(tmp_path) as history:
        record(history, look(hall))
        tables = ("part", "document", "snapshot")
        before = {table: count(history, table) for table in tables}
        hall.start_again()
        record(history, look(hall))
        after = {table: count(history, table) for table in tables}
    assert {table: after[table] - before[table] for table in tables} == {
        "part": 0,
        "document": 0,
        "snapshot": 1,
    }


def test_one_changed_file_costs_its_line(tmp_path: Path, hall: Root) -> None:
    for number in range(60):
        hall.put("vda", 1, f"\\many\\file {number}.txt", b"x")
    with History.open(tmp_path) as history:
        record(history, look(hall))
        hall.put("vda", 1, FERNWICK_LOADER, program("fernwick 2"))
        number = record(history, look(hall))
        query = "SELECT length(put) FROM part WHERE base IS NOT NULL"
        (size,) = history.database.execute(query).fetchone()
        loader = next(iter(history.snapshot(number).state.volumes.values())).file(FERNWICK_LOADER)
    assert size < 400
    assert loader and loader.size == len(program("fernwick 2"))


def test_many_changes_in_a_row_come_back(tmp_path: Path, hall: Root) -> None:
    """Longer than the longest chain of differences."""
    expected = {}
    with History.open(tmp_path) as history:
        for step in range(50):
            hall.variable("Timeout", bytes([step, 0]))
            snapshot = look(hall)
            expected[record(history, snapshot)] = snapshot.state
        assert {number: history.snapshot(number).state for number in expected} == expected


def test_others_can_look_while_it_is_open(tmp_path: Path, hall: Root) -> None:
    with History.open(tmp_path) as history:
        number = record(history, look(hall))
        with History.look(tmp_path) as other:
            assert other and [row.number for row in other.rows()] == [number]
        assert history.database.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_no_history_yet(tmp_path: Path) -> None:
    with History.look(tmp_path) as history:
        assert history is None


def test_damaged_history_is_a_problem_with_a_hint(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"not a database at all, and long enough to see it" * 100)
    with pytest.raises(Problem, match="can't be used") as caught, History.open(tmp_path):
        pass
    assert "baseline is safe" in caught.value.hint


def test_newer_history_is_left_alone(tmp_path: Path) -> None:
    with History.open(tmp_path):
        pass
    with sqlite3.connect(tmp_path / FILE_NAME) as database:
        database.execute("PRAGMA user_version = 99")
    database.close()
    with pytest.raises(Problem, match="newer"), History.open(tmp_path):
        pass


def test_failed_transaction_leaves_nothing(tmp_path: Path, hall: Root) -> None:
    snapshot = look(hall)
    with History.open(tmp_path) as history:
        with pytest.raises(KeyError), history.transaction():
            history.add(snapshot, {})
            raise KeyError
        assert count(history, "snapshot") == 0 and count(history, "part") == 0


def change(name: str, after: object = None, level: Level = Level.WEAKENED) -> Change:
    return Change(name, name.partition(":")[0], level, None, "it", "there", None, after, between=(1, 2))


def drift(*changes: Change) -> Drift:
    return Drift(changes, (), ())


def test_news_are_told_once(tmp_path: Path) -> None:
    one, two = change("loader-missing:1"), change("loader-missing:2")
    with History.open(tmp_path) as history:
        with history.transaction():
            keep_open(history, drift(one))
            mark_told(history, [one], "m")
        assert news(history, drift(one)) == []
        assert news(history, drift(one, two)) == [two]


def test_what_comes_back_after_it_was_gone_is_news(tmp_path: Path) -> None:
    one = change("loader-missing:1")
    with History.open(tmp_path) as history:
        with history.transaction():
            keep_open(history, drift(one))
            mark_told(history, [one], "m")
            keep_open(history, drift())
            keep_open(history, drift(one))
        assert news(history, drift(one)) == [one]


def test_another_content_is_news_and_the_former_one_not_again(tmp_path: Path) -> None:
    first, second = change("loader-changed:1", "a"), change("loader-changed:1", "b")
    with History.open(tmp_path) as history:
        with history.transaction():
            keep_open(history, drift(first))
            mark_told(history, [first], "m")
        assert news(history, drift(second)) == [second]
        with history.transaction():
            mark_told(history, [second], "m")
        assert news(history, drift(first)) == []


def test_routine_is_no_news(tmp_path: Path) -> None:
    with History.open(tmp_path) as history:
        assert news(history, drift(change("file-changed:1", level=Level.ROUTINE))) == []


def test_span_is_kept_from_the_first_time(tmp_path: Path, hall: Root) -> None:
    one = change("loader-missing:1")
    with History.open(tmp_path) as history:
        first = record(history, look(hall))
        history.set_result(first, "digest", drift())
        second = record(history, look(hall))
        assert spans(history, drift(one), "digest", None, second) == {one.id: (first, second)}
        with history.transaction():
            keep_open(history, Drift((change(one.id),), (), ()))
        third = record(history, look(hall))
        assert spans(history, drift(one), "digest", None, third) == {one.id: (1, 2)}


def test_span_begins_at_the_baseline_when_the_last_look_was_of_another_one(
    tmp_path: Path, hall: Root
) -> None:
    one = change("loader-missing:1")
    with History.open(tmp_path) as history:
        saved = record(history, look(hall))
        second = record(history, look(hall))
        assert spans(history, drift(one), "digest", saved, second) == {one.id: (saved, second)}
        assert spans(history, drift(one), "digest", None, second) == {one.id: (None, second)}
