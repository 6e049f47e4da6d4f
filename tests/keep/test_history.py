"""The history: what it costs and what comes back out of it."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep.history import FILE_NAME, History
from bootwatch.keep.open_changes import keep_open, mark_told, news, spans
from bootwatch.model.change import Change, Drift
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Snapshot
from bootwatch.model.variable import Variable, key
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
        first = look(hall)
        for step in range(50):
            variables = {**first.state.variables, key("Timeout"): Variable(7, bytes([step, 0]))}
            snapshot = replace(first, state=replace(first.state, variables=variables))
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


def test_what_got_worse_since_it_was_told_is_news(tmp_path: Path) -> None:
    """What hid the last way to a system could be read since."""
    told = change("loader-missing:1")
    worse = replace(told, level=Level.STRANDED)
    with History.open(tmp_path) as history:
        with history.transaction():
            keep_open(history, drift(told))
            mark_told(history, [told], "m")
        assert news(history, drift(replace(told, level=Level.CHANGED))) == []
        assert news(history, drift(worse)) == [worse]
        with history.transaction():
            mark_told(history, [worse], "m2")
        assert news(history, drift(told)) == news(history, drift(worse)) == []


def test_routine_is_no_news(tmp_path: Path) -> None:
    with History.open(tmp_path) as history:
        assert news(history, drift(change("file-changed:1", level=Level.ROUTINE))) == []


def compared(history: History, snapshot: Snapshot, found: Drift, baseline: str = "digest") -> int:
    """A snapshot with its comparison; returns its number."""
    number = record(history, snapshot)
    history.set_result(number, baseline, found)
    return number


def test_span_is_kept_from_the_first_time(tmp_path: Path, hall: Root) -> None:
    one, snapshot = change("loader-missing:1"), look(hall)
    with History.open(tmp_path) as history:
        first = compared(history, snapshot, drift())
        second = compared(history, snapshot, drift(one))
        assert spans(history, drift(one), "digest", second) == {one.id: (first, second)}
        with history.transaction():
            keep_open(history, drift(one))
        third = compared(history, snapshot, drift(one))
        assert spans(history, drift(one), "digest", third) == {one.id: one.between}


def test_span_knows_nothing_of_another_baseline(tmp_path: Path, hall: Root) -> None:
    one, snapshot = change("loader-missing:1"), look(hall)
    with History.open(tmp_path) as history:
        compared(history, snapshot, drift(), baseline="former")
        second = compared(history, snapshot, drift(one))
        assert spans(history, drift(one), "digest", second) == {one.id: (None, second)}


def test_span_begins_before_a_look_that_could_not_see(tmp_path: Path, hall: Root) -> None:
    """Clean; the volume unread; an unrelated gap; then the loss."""
    scope = {"volume": "gpt:a", "path": "\\EFI\\x.efi"}
    one = replace(change("loader-missing:1"), scope=scope)
    unread = Gap("volume", "gpt:a", Reason.UNREADABLE, "")
    elsewhere = Gap("volume", "gpt:b", Reason.UNREADABLE, "")
    snapshot = look(hall)
    with History.open(tmp_path) as history:
        clean = compared(history, snapshot, drift())
        compared(history, snapshot, Drift((), (), (unread,)))
        lost = compared(history, snapshot, drift(one))
        assert spans(history, drift(one), "digest", lost) == {one.id: (clean, lost)}
        other = compared(history, snapshot, Drift((), (), (elsewhere,)))
        again = compared(history, snapshot, drift(one))
        assert spans(history, drift(one), "digest", again) == {one.id: (other, again)}


def test_what_cannot_be_seen_stays_open_and_what_is_back_does_not(tmp_path: Path) -> None:
    """An unread file elsewhere must not mute the next loss; an unread volume must not repeat this one."""
    one = replace(change("loader-missing:1"), scope={"volume": "gpt:a", "path": "\\EFI\\x.efi"})
    for gap, told_again in (
        (Gap("volume", "gpt:b", Reason.UNREADABLE, ""), True),
        (Gap("volume", "gpt:a", Reason.UNREADABLE, "", "\\EFI\\other"), True),
        (Gap("variables", "*", Reason.DENIED, ""), True),
        (Gap("volume", "gpt:a", Reason.UNREADABLE, ""), False),
        (Gap("volume", "gpt:a@pci", Reason.DAMAGED, "", "\\efi"), False),
        (Gap("disk", "vdb", Reason.ABSENT, ""), False),
    ):
        with History.open(tmp_path / f"{gap.name} {gap.path} {gap.kind}".replace("/", "")) as history:
            with history.transaction():
                keep_open(history, drift(one))
                mark_told(history, [one], "m")
                keep_open(history, Drift((), (), (gap,)))
                keep_open(history, drift(one))
            assert bool(news(history, drift(one))) is told_again, gap


def test_damaged_history_is_put_aside(tmp_path: Path, hall: Root) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"not a database at all, and long enough to see it" * 100)
    with pytest.raises(Problem, match="can't be used") as caught, History.look(tmp_path):
        pass
    assert "baseline is safe" in caught.value.hint
    with History.open(tmp_path) as history:
        assert record(history, look(hall)) == 1
    assert len(list(tmp_path.glob("history.db.damaged-*"))) == 1


def test_history_cut_off_in_a_commit_is_put_right(tmp_path: Path, hall: Root) -> None:
    """A journal that a power cut left: reading alone can't end it, so the next one who may write does."""
    snapshot = look(hall)
    with History.open(tmp_path) as history:
        record(history, snapshot)
    script = (
        "import os, sqlite3, sys; d = sqlite3.connect(sys.argv[1], isolation_level=None);"
        "d.execute('PRAGMA cache_spill=1'); d.execute('PRAGMA cache_size=1'); d.execute('BEGIN IMMEDIATE');"
        "d.execute('DELETE FROM record');"
        "d.executemany('INSERT INTO log VALUES (?)', [(str(n) * 999,) for n in range(999)]); os._exit(9)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path / FILE_NAME)], check=False)
    assert done.returncode == 9
    assert (tmp_path / f"{FILE_NAME}-journal").exists()
    with History.look(tmp_path) as history:
        assert history and len(history.rows()) == 1
