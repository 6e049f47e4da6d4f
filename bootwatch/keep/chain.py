"""The chain of records: each holds a digest of itself and of the one before it.

A record is a snapshot's row with what is written along with it: its prediction, its start and what was seen
on the way to that; documents count by their digests. Whatever is lost, changed or put elsewhere afterwards
breaks the chain there. Who may write the database can make a new chain: it shows damage, and proves nothing
besides.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from bootwatch.keep.canonical import canonical
from bootwatch.keep.circumstances import text_of

_CIRCUMSTANCE = 4
FIRST = b""
"""What stands for the record before the first one."""
_RECORDS = """
SELECT number, boot_id, moment, time, circumstance, state, gaps, overview, baseline, result, content,
    start.snapshot, predicted, outcome, why, entry, volume, file, identity, link
FROM snapshot LEFT JOIN prediction ON prediction.snapshot = number LEFT JOIN start ON start.snapshot = number
"""


@dataclass(frozen=True)
class Record:
    """One record: its number, what its digest is made of, and that digest; None before it is closed."""

    number: int
    values: tuple[Any, ...]
    link: bytes | None

    @property
    def documents(self) -> tuple[str, ...]:
        """The digests of the documents that belong to it."""
        return tuple(str(own) for own in (*self.values[5:8], *self.values[9:11]) if own is not None)

    def link_after(self, before: bytes) -> bytes:
        """The record's digest, given that of the one before it."""
        return hashlib.sha256(before + canonical(self.values).encode()).digest()


def records(database: sqlite3.Connection, which: str = "", *values: int) -> Iterator[Record]:
    """The records in their order, or those of them that an SQL condition names."""
    for row in database.execute(f"{_RECORDS} {which} ORDER BY number", values):
        *columns, link = row
        number, has_start = columns[0], columns[11] is not None
        columns[_CIRCUMSTANCE] = text_of(columns[_CIRCUMSTANCE])
        yield Record(number, (*columns, _sightings(database, number) if has_start else []), link)


def _sightings(database: sqlite3.Connection, number: int) -> list[Any]:
    query = "SELECT habit, custody, what FROM sighting WHERE snapshot = ? ORDER BY habit"
    return database.execute(query, (number,)).fetchall()


def close(database: sqlite3.Connection) -> None:
    """Close the records that are new or were written to: the newest ones. Call it before the transaction that
    wrote them ends."""
    opened = database.execute("SELECT number FROM record WHERE link IS NULL ORDER BY number").fetchall()
    for (number,) in opened:
        link = next(records(database, "WHERE number = ?", number)).link_after(_before(database, number))
        database.execute("UPDATE record SET link = ? WHERE number = ?", (link, number))


def _before(database: sqlite3.Connection, number: int) -> bytes:
    """The digest of the record before one, kept or not."""
    found: list[tuple[int, bytes]] = []
    for table in ("record", "anchor"):
        query = f"SELECT number, link FROM {table} WHERE number < ? ORDER BY number DESC LIMIT 1"
        found += database.execute(query, (number,)).fetchall()
    return max(found)[1] or FIRST if found else FIRST


def close_all(database: sqlite3.Connection) -> None:
    """Close all records of a history that had no chain. Call it inside a transaction."""
    link, links = FIRST, []
    for record in records(database):
        link = record.link_after(link)
        links.append((link, record.number))
    database.executemany("UPDATE snapshot SET link = ? WHERE number = ?", links)
