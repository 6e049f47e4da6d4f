"""The chain of records: whatever is changed, lost or put elsewhere in a history is found."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from bootwatch.keep import schema, soundness
from bootwatch.keep.history import FILE_NAME, History
from tests.keep.kept import kept
from tests.keep.lives import memory

# Of the version before the chain: six snapshots of three starts, with an alert and an imported snapshot.
SAMPLE = Path(__file__).parent / "samples/history_4.sql"


@pytest.fixture(scope="module")
def sample() -> sqlite3.Connection:
    """The sample, brought up to date; one only copies it."""
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.executescript(SAMPLE.read_text())
    schema.prepare(database, Path("sample"))
    return database


@pytest.fixture
def history(sample: sqlite3.Connection) -> Iterator[History]:
    copy = sqlite3.connect(":memory:", isolation_level=None)
    sample.backup(copy)
    yield History(copy)
    copy.close()


def faults(history: History, *statements: str) -> list[str]:
    for statement in statements:
        history.database.execute(statement)
    return list(soundness.faults(history))


def test_history_of_before_the_chain_gets_one(history: History) -> None:
    assert history.has_former and faults(history) == []
    rows = history.database.execute("SELECT number, length(link) FROM snapshot").fetchall()
    assert rows == [(number, 32) for number in range(1, 7)]


def test_each_record_goes_by_the_one_before(history: History) -> None:
    """As it is written down: SHA-256 of the former record's digest and the canonical JSON of the columns."""
    (link,) = history.database.execute("SELECT link FROM snapshot WHERE number = 2").fetchone()
    found = faults(history, "UPDATE record SET link = zeroblob(32) WHERE number = 2")
    assert [said.split()[1] for said in found] == ["2", "3"]
    assert link != bytes(32)


def test_what_is_recorded_since_belongs_to_it() -> None:
    history = memory()
    for _ in range(3):
        with history.transaction():
            number = history.add(kept().snapshot, {})
            history.import_log([f"line {number}"])
    with history.transaction():
        history.set_overview(number, {"machine": "hall"})
    assert faults(history) == []
    assert faults(history, "DELETE FROM log WHERE line = 'line 2'") == ["Not as it was recorded: the log."]


def test_history_that_goes_on_after_a_lost_one() -> None:
    history = memory()
    with history.transaction():
        history.number_on(41)
    assert faults(history) == []
    for number in (42, 43):
        with history.transaction():
            assert history.add(kept().snapshot, {}) == number
        assert faults(history) == []
    assert faults(history, "DELETE FROM record WHERE number = 42") == ["Snapshot 42 is missing."]


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DELETE FROM record WHERE number = 3", "Snapshot 3 is missing."),
        ("DELETE FROM record WHERE number < 3", "Snapshots 1 to 2 are missing."),
        ("DELETE FROM record WHERE number > 4", "Snapshots 5 to 6 are missing."),
        ("DELETE FROM begun WHERE snapshot = 4", "Snapshot 4 is not as it was recorded"),
        ("DELETE FROM document WHERE id IN (SELECT overview FROM record)", "not as it was recorded"),
        ("DELETE FROM part WHERE base IS NOT NULL", "Documents and parts of snapshots that are missing"),
        ("DELETE FROM told WHERE id LIKE 'order%'", "Not as it was recorded: what is open and was told."),
        ("DELETE FROM imported", "Not as it was recorded: imported snapshots."),
    ],
)  # fmt: skip
def test_what_is_lost(history: History, statement: str, said: str) -> None:
    assert said in faults(history, statement)[0]


def test_two_records_in_each_others_place(history: History) -> None:
    found = faults(history, *(
        f"UPDATE record SET number = {new} WHERE number = {old}" for old, new in ((4, 99), (5, 4), (99, 5))
    ))  # fmt: skip
    assert [said.split()[1] for said in found] == ["4", "5", "6"]


def columns(database: sqlite3.Connection) -> list[tuple[str, str]]:
    tables = database.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    return [
        (table, str(column[1]))
        for (table,) in tables
        for column in database.execute(f"PRAGMA table_info({table})").fetchall()
    ]


def flipped(value: int | str | bytes) -> int | str | bytes:
    """The value with one bit of it turned over."""
    if isinstance(value, int):
        return value ^ 1
    data = bytearray(value.encode() if isinstance(value, str) else value)
    data[len(data) // 2] ^= 1
    return data.decode() if isinstance(value, str) else bytes(data)


@pytest.mark.long
def test_a_bit_of_any_value_of_any_row(sample: sqlite3.Connection) -> None:
    """Each value of each table by itself. What is NULL has no bit to turn."""
    tried = set()
    for table, column in columns(sample):
        for key, value in sample.execute(f"SELECT rowid, {column} FROM {table}").fetchall():
            if value is None or value == "":
                continue
            copy = sqlite3.connect(":memory:", isolation_level=None)
            sample.backup(copy)
            copy.execute(f"UPDATE OR IGNORE {table} SET {column} = ? WHERE rowid = ?", (flipped(value), key))
            is_changed = copy.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (key,)).fetchone() != (
                value,
            )
            assert not is_changed or list(soundness.faults(History(copy))), (table, column, key)
            tried.add((table, column))
            copy.close()
    untouched = {table for table, _ in columns(sample)} - {table for table, _ in tried}
    # Nothing was pruned in the sample, no volume left, no sign of life was sent.
    assert untouched == {
        "anchor",
        "former_outcome",
        "former_target",
        "former_habit",
        "leaving",
        "sign_of_life",
    }


@pytest.mark.long
def test_a_bit_of_the_file_itself(sample: sqlite3.Connection, tmp_path: Path) -> None:
    """In the middle of each page, and half of it all zero: found, or of no consequence to what is read."""
    file = tmp_path / FILE_NAME
    with sqlite3.connect(file) as whole:
        sample.backup(whole)
    whole.close()
    data = file.read_bytes()
    told = list(sample.iterdump())
    for at in range(4096, len(data), 4096):
        for damaged in (bytes([data[at + 2048] ^ 1]), bytes(2048)):
            file.write_bytes(data[: at + 2048] + damaged + data[at + 2048 + len(damaged) :])
            copy = sqlite3.connect(file, isolation_level=None)
            found = list(soundness.faults(History(copy)))
            copy.text_factory = str
            assert found or list(copy.iterdump()) == told, at
            copy.close()


def test_older_history_has_none_yet() -> None:
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.executescript(SAMPLE.read_text())
    assert not History(database).has_former
