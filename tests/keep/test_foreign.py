"""A history that somebody else wrote, opened by root's commands: refused or read, and nothing in it runs."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from bootwatch.keep.history import History
from bootwatch.problem import Problem

ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"
NOBODY = 65534


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    with History.open(tmp_path):
        pass
    yield tmp_path


def change(folder: Path, *statements: str) -> None:
    database = sqlite3.connect(folder / "history.db")
    for statement in statements:
        database.execute(statement)
    database.commit()
    database.close()


@pytest.mark.parametrize(
    "statements",
    [
        ("ALTER TABLE record RENAME TO other", f"CREATE VIEW record AS {ENDLESS}"),
        ("CREATE TRIGGER t AFTER INSERT ON log BEGIN SELECT 1; END",),
        ("CREATE VIRTUAL TABLE t USING fts5(x)",),
        ("CREATE TABLE t (a, b GENERATED ALWAYS AS (zeroblob(1000000000)))",),
    ],
)
def test_what_none_of_ours_holds_is_refused(folder: Path, statements: tuple[str, ...]) -> None:
    change(folder, *statements)
    with pytest.raises(Problem, match="bootwatch doesn't make"), History.look(folder):
        pass


def test_nothing_is_written_by_who_only_looks(folder: Path) -> None:
    with pytest.raises(Problem), History.look(folder) as history:
        assert history
        history.database.execute("DELETE FROM log")


def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "history.db")
    with pytest.raises(Problem, match="no plain file"), History.look(tmp_path):
        pass


def test_neither_is_a_link_nor_what_is_beside_it(folder: Path, tmp_path: Path) -> None:
    os.mkfifo(folder / "history.db-journal")
    with pytest.raises(Problem, match="no plain file"), History.look(folder):
        pass
    (tmp_path / "other").mkdir()
    (tmp_path / "other/history.db").symlink_to(folder / "history.db")
    with pytest.raises(Problem, match="no plain file"), History.look(tmp_path / "other"):
        pass


@pytest.mark.skipif(os.geteuid() != 0, reason="files of somebody else are root's to make")
def test_no_file_is_made_beside_somebody_elses(folder: Path) -> None:
    change(folder, "PRAGMA journal_mode=WAL")
    os.chown(folder / "history.db", NOBODY, NOBODY)
    with pytest.raises(Problem, match="doesn't use"), History.look(folder):
        pass
    assert [path.name for path in folder.iterdir()] == ["history.db"]


@pytest.mark.skipif(os.geteuid() != 0, reason="files of somebody else are root's to make")
@pytest.mark.parametrize("content", ["'nonsense'", "'[1]'", "CAST(x'ff' AS TEXT)", "'" + "[" * 5000 + "'"])
def test_nonsense_of_somebody_else_is_a_problem(folder: Path, content: str) -> None:
    """And not a failure that nobody expected."""
    change(
        folder,
        f"INSERT INTO document VALUES (1, 'x', {content})",
        "INSERT INTO word VALUES (1, 'boot')",
        "INSERT INTO record (number, boot, moment, time, alike, state, gaps, overview)"
        " VALUES (1, 'x', 1, 'x', 1, 1, 1, 1)",
    )
    os.chown(folder / "history.db", NOBODY, NOBODY)
    with pytest.raises(Problem, match="history"), History.look(folder) as history:
        assert history
        history.rows(1)
        history.snapshot(1)
