"""Parts of states in the history, each stored once; a changed one as its difference from the one before.

A part is a dictionary of lines. A row of table ``part`` holds either all of them, or those that were put and
dropped since the row it is based on; so one changed file on a volume of thousands costs its own line.
"""

from __future__ import annotations

import json
import sqlite3
from typing import TYPE_CHECKING

from bootwatch.keep.canonical import canonical, digest

if TYPE_CHECKING:  # nothing of it is needed while a reading is repeated (see `database`)
    from bootwatch.model.snapshot import Part

SCHEMA = """
CREATE TABLE IF NOT EXISTS part (
    digest TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    base TEXT REFERENCES part(digest),
    depth INTEGER NOT NULL,
    put TEXT NOT NULL,
    dropped TEXT NOT NULL
) STRICT;
"""
# A chain of this many differences is followed in a few milliseconds.
_DEEPEST = 40


def store(database: sqlite3.Connection, part: Part, before: str | None) -> str:
    """Store a part, unless it is there, as its difference from the part ``before``. Returns its digest."""
    own = digest(part)
    if database.execute("SELECT 1 FROM part WHERE digest = ?", (own,)).fetchone():
        return own
    base, depth = _base(database, before)
    put, dropped = part, []
    if base:
        old = load(database, base)
        put = {key: line for key, line in part.items() if key not in old or old[key] != line}
        dropped = sorted(key for key in old if key not in part)
    database.execute(
        "INSERT INTO part VALUES (?, ?, ?, ?, ?)",
        (own, base, depth, canonical(put), canonical(dropped)),
    )
    return own


def _base(database: sqlite3.Connection, before: str | None) -> tuple[str | None, int]:
    if before is None:
        return None, 0
    row = database.execute("SELECT depth FROM part WHERE digest = ?", (before,)).fetchone()
    return (before, row[0] + 1) if row and row[0] < _DEEPEST else (None, 0)


def load(database: sqlite3.Connection, own: str) -> Part:
    """The part with this digest. Raises KeyError when the history doesn't hold it."""
    chain = []
    at: str | None = own
    while at is not None:
        row = database.execute("SELECT base, put, dropped FROM part WHERE digest = ?", (at,)).fetchone()
        if row is None:
            raise KeyError(at)
        chain.append(row)
        at = row[0]
    part: Part = {}
    for _, put, dropped in reversed(chain):
        for key in json.loads(dropped):
            del part[key]
        part.update(json.loads(put))
    return part
