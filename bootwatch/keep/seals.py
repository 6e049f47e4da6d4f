"""Seals: a digest for each group of tables whose rows change, renewed by whoever writes them.

The chain covers what is written once; this covers the rest: what is open and was told, alerts, counts.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Collection, Iterator

from bootwatch.keep.canonical import canonical

# Each group with its tables, each table with what its rows are put in order by.
GROUPS = {
    "what is open and was told": {"open_change": "id", "told": "id, content"},
    "alerts": {"alert": "number", "stage": "alert, number", "sign_of_life": "snapshot"},
    "what changes often": {"churn": "volume, path", "leaving": "volume"},
    "the log": {"log": "line"},
    "imported snapshots": {"imported": "number"},
    "the last numbers given": {"sqlite_sequence": "name"},
    "what is no longer kept": {
        "anchor": "number",
        "former_outcome": "outcome",
        "former_target": "volume, file, identity",
        "former_habit": "habit",
    },
}
# SQLite writes it by itself.
_ALWAYS = frozenset({"sqlite_sequence"})
_WRITES = frozenset({sqlite3.SQLITE_INSERT, sqlite3.SQLITE_UPDATE, sqlite3.SQLITE_DELETE})


class Written:
    """Which tables a connection's statements write to, from the first one on."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self.tables: set[str] = set()
        database.set_authorizer(self._note)

    def _note(self, action: int, table: str | None, *_: str | None) -> int:
        if action in _WRITES and table:
            self.tables.add(table)
        return sqlite3.SQLITE_OK


def renew(database: sqlite3.Connection, written: Collection[str]) -> None:
    """Seal anew the groups with one of these tables. Call it before the transaction that wrote them ends."""
    for name, tables in GROUPS.items():
        if not tables.keys().isdisjoint(_ALWAYS.union(written)):
            database.execute("INSERT OR REPLACE INTO seal VALUES (?, ?)", (name, _digest(database, name)))


def renew_all(database: sqlite3.Connection) -> None:
    """Seal all groups. Call it inside a transaction."""
    renew(database, {table for tables in GROUPS.values() for table in tables})


def broken(database: sqlite3.Connection) -> Iterator[str]:
    """The groups of tables that are not as they were sealed."""
    held = dict(database.execute("SELECT name, digest FROM seal").fetchall())
    yield from (name for name in GROUPS if held.get(name) != _digest(database, name))


def _digest(database: sqlite3.Connection, name: str) -> bytes:
    own = hashlib.sha256()
    for table, order in GROUPS[name].items():
        own.update(f"{table}\n".encode())
        for row in database.execute(f"SELECT * FROM {table} ORDER BY {order}"):
            own.update(canonical([_plain(value) for value in row]).encode() + b"\n")
    return own.digest()


def _plain(value: object) -> object:
    return value.hex() if isinstance(value, bytes) else value
