"""Imported snapshots: beside the recorded ones, and never taken for one of them."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep import imported, predictions
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.keep.snapshot_file import Kept
from tests.keep.kept import hall_state, kept


def bring(history: History, one: Kept) -> tuple[str, bool]:
    with history.transaction():
        return imported.bring_in(history, one)


def test_it_comes_back_as_it_was(tmp_path: Path) -> None:
    other = kept(hall_state("quarry 2"), number=None)
    with History.open(tmp_path) as history:
        assert bring(history, kept()) == ("i1", True)
        assert bring(history, other) == ("i2", True)
        assert imported.load(history, 1) == kept()
        assert imported.load(history, 2) == other
        listed = imported.listed(history)
    assert [(name, one["number"]) for name, one in listed] == [("i2", None), ("i1", 3)]
    assert all("state" not in one for _, one in listed)


def test_the_same_one_twice_has_one_name(tmp_path: Path) -> None:
    with History.open(tmp_path) as history:
        bring(history, kept())
        bring(history, kept(hall_state("quarry 2")))
        assert bring(history, kept()) == ("i1", False)
        assert len(imported.listed(history)) == 2


def test_it_is_no_recorded_snapshot(tmp_path: Path) -> None:
    own = replace(kept().snapshot, number=None)
    with History.open(tmp_path) as history:
        bring(history, kept())
        assert history.rows() == [] and history.last_circumstance() is None
        with history.transaction():
            number = history.add(own, {})
        bring(history, kept(hall_state("quarry 2"), number=9))
        assert number == 1
        assert [row.number for row in history.rows()] == [1]
        assert history.snapshot(1) == own.numbered(1)
        assert predictions.last_look(history, 2) == (1, own.circumstance.boot_id, own.circumstance.moment)


def test_one_that_is_not_there(tmp_path: Path) -> None:
    with History.open(tmp_path) as history, pytest.raises(KeyError):
        imported.load(history, 1)


def test_a_history_from_before_there_were_any(tmp_path: Path) -> None:
    first_version = Path(__file__).parent / "samples" / "history_1.sql"
    with contextlib.closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.executescript(first_version.read_text("utf-8"))
    with History.look(tmp_path) as history:
        assert history and imported.listed(history) == []
    with History.open(tmp_path) as history:
        assert bring(history, kept()) == ("i1", True)


@pytest.mark.parametrize(
    ("name", "number"),
    [("i1", 1), ("i40", 40), ("i0", None), ("i", None), ("1", None), ("I1", None), ("i01", None)],
)
def test_names(name: str, number: int | None) -> None:
    assert imported.number_in(name) == number
