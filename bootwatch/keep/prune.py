"""Dropping the oldest snapshots: the history keeps as many as the settings say, and little of those before.

Left of them are how often predictions came true, what really started this system, what was seen from one
start to the next, and the anchor that the chain of the others hangs on. Open changes, alerts, what was told
and counted, imported snapshots and the log are kept anyway. Numbers are never given twice.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable

from bootwatch.keep import predictions
from bootwatch.keep.history import History

# So many at one reading: none takes long, and a history that is far too long becomes shorter all the same.
_AT_ONCE = 8
# So many looks of the time in which an open change happened are gone through (service/spans.py).
_LOOKS = 500


def prune(history: History, keep: int) -> int:
    """Drop the oldest snapshots but for the newest ``keep``, a few at a time, all or none of them. Returns
    how many were dropped.

    Those by which it is said when an open change happened stay, too.
    """
    last = (history.last_number() or 0) - keep
    wanted = _wanted(history, last)
    rows = history.database.execute(
        "SELECT number FROM snapshot WHERE number <= ? ORDER BY number LIMIT ?",
        (last, _AT_ONCE + len(wanted)),
    )
    old = [number for (number,) in rows.fetchall() if number not in wanted][:_AT_ONCE]
    if old:
        with history.transaction():
            _drop_all(history, old)
    return len(old)


def _drop_all(history: History, numbers: list[int]) -> None:
    found = [_drop(history, number) for number in numbers]
    for state in {state for state, _ in found}:
        _drop_document(history.database, state, is_state=True)
    for own in {own for _, others in found for own in others}:
        _drop_document(history.database, own, is_state=False)


def _wanted(history: History, last: int) -> set[int]:
    """The snapshots up to ``last`` by which it is said when open changes happened, and who had the machine
    then."""
    wanted: set[int] = set()
    ends = history.database.execute(
        "SELECT last_without, first_with FROM open_change WHERE last_without <= ?", (last,)
    ).fetchall()
    for first, end in ends:
        looks = history.database.execute(
            "SELECT number FROM snapshot WHERE number > ? AND number <= ? ORDER BY number DESC LIMIT ?",
            (first, end, _LOOKS),
        )
        wanted |= {first, *(number for (number,) in looks)}
    if ends:
        changed = history.database.execute(
            "SELECT DISTINCT last_snapshot FROM churn WHERE last_snapshot BETWEEN ? AND ?",
            (min(end for _, end in ends), last + 1),
        )
        wanted |= {one for (number,) in changed for one in (number - 1, number)}
    return wanted


def _drop(history: History, number: int) -> tuple[int, list[int]]:
    """Drop one snapshot; the numbers of its state and of its other documents."""
    database = history.database
    predictions.retire(history, number)
    link, state, *others = database.execute(
        "SELECT link, state, gaps, overview, result, alike, content FROM record"
        " LEFT JOIN forecast ON snapshot = number WHERE number = ?",
        (number,),
    ).fetchone()
    for table in ("sighting", "begun", "forecast"):
        database.execute(f"DELETE FROM {table} WHERE snapshot = ?", (number,))
    database.execute("DELETE FROM record WHERE number = ?", (number,))
    # What the next one that is kept hangs on; the one before hangs on nothing that is kept.
    database.execute("DELETE FROM anchor WHERE number = ?", (number - 1,))
    database.execute(
        "INSERT INTO anchor SELECT ?, ? WHERE EXISTS (SELECT 1 FROM record WHERE number = ?)",
        (number, link, number + 1),
    )
    return state, [own for own in others if own is not None]


# Each finds at once what one of the newest names, and else reads its table to the end.
_NAMES_A_DOCUMENT = (
    "SELECT 1 FROM record WHERE ?1 IN (state, gaps, overview, result, alike) ORDER BY number DESC LIMIT 1",
    "SELECT 1 FROM forecast WHERE content = ?1 ORDER BY snapshot DESC LIMIT 1",
    "SELECT 1 FROM stage WHERE drift = (SELECT digest FROM document WHERE id = ?1)",
)
_NAMES_A_PART = (
    "SELECT 1 FROM document WHERE id IN (SELECT state FROM record) AND instr(text, ?1) LIMIT 1",
    "SELECT 1 FROM imported WHERE instr(parts, ?1) LIMIT 1",
    "SELECT 1 FROM part WHERE base = ?1 LIMIT 1",
)


def _is_named(database: sqlite3.Connection, own: str | int, queries: Iterable[str]) -> bool:
    return any(database.execute(query, (own,)).fetchone() for query in queries)


def _drop_document(database: sqlite3.Connection, own: int, *, is_state: bool) -> None:
    """Drop one that nothing names any more; with a state the parts that it alone was made of."""
    if _is_named(database, own, _NAMES_A_DOCUMENT):
        return
    row = database.execute("SELECT text FROM document WHERE id = ?", (own,)).fetchone()
    database.execute("DELETE FROM document WHERE id = ?", (own,))
    for part in _parts_in(row[0]) if is_state and row else ():
        _drop_part(database, part)


def _parts_in(state: str) -> list[str]:
    """Their digests; none of a damaged state, whose parts stay then."""
    try:
        return list(json.loads(state).values())
    except (ValueError, AttributeError):
        return []


def _drop_part(database: sqlite3.Connection, own: str) -> None:
    """Drop one that nothing names any more, then what it was based on: as long as another is based on a part,
    that stays, so that nothing has to be put together anew. They are at most as many as differences in a row.
    """
    at: str | None = own
    while at and not _is_named(database, at, _NAMES_A_PART):
        row = database.execute("SELECT base FROM part WHERE digest = ?", (at,)).fetchone()
        database.execute("DELETE FROM part WHERE digest = ?", (at,))
        at = row[0] if row else None
