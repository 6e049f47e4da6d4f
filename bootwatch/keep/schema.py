"""The history's tables, and how a database of an earlier version becomes one of this."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from bootwatch.keep import chain, compact, parts, seals
from bootwatch.problem import Problem

_FIRST = (
    parts.SCHEMA
    + """
CREATE TABLE IF NOT EXISTS document (digest TEXT PRIMARY KEY, text TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS snapshot (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    boot_id TEXT,
    moment TEXT NOT NULL,
    time TEXT NOT NULL,
    circumstance TEXT NOT NULL,
    state TEXT NOT NULL REFERENCES document(digest),
    gaps TEXT NOT NULL REFERENCES document(digest),
    overview TEXT NOT NULL REFERENCES document(digest),
    baseline TEXT,
    result TEXT REFERENCES document(digest)
) STRICT;
CREATE TABLE IF NOT EXISTS open_change (
    id TEXT PRIMARY KEY,
    last_without INTEGER,
    first_with INTEGER NOT NULL,
    scope TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS told (
    id TEXT NOT NULL REFERENCES open_change(id) ON DELETE CASCADE,
    content TEXT NOT NULL,
    level TEXT NOT NULL,
    message TEXT NOT NULL,
    PRIMARY KEY (id, content)
) STRICT;
CREATE TABLE IF NOT EXISTS log (line TEXT PRIMARY KEY) STRICT;
"""
)
_PREDICTIONS = """
CREATE TABLE IF NOT EXISTS prediction (
    snapshot INTEGER PRIMARY KEY REFERENCES snapshot(number),
    content TEXT NOT NULL REFERENCES document(digest)
) STRICT;
CREATE TABLE IF NOT EXISTS start (
    snapshot INTEGER PRIMARY KEY REFERENCES snapshot(number),
    predicted INTEGER REFERENCES snapshot(number),
    outcome TEXT,
    why TEXT NOT NULL,
    entry TEXT,
    volume TEXT,
    file TEXT,
    identity TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS sighting (
    snapshot INTEGER NOT NULL REFERENCES start(snapshot),
    habit TEXT NOT NULL,
    custody TEXT NOT NULL,
    what TEXT NOT NULL,
    PRIMARY KEY (snapshot, habit)
) STRICT;
"""
# Which files change at many starts, and which volumes come and go (keep/churn.py).
_CHURN = """
CREATE TABLE IF NOT EXISTS churn (
    volume TEXT NOT NULL,
    path TEXT NOT NULL,
    starts INTEGER NOT NULL,
    first_start INTEGER NOT NULL,
    last_start INTEGER NOT NULL,
    last_snapshot INTEGER NOT NULL,
    PRIMARY KEY (volume, path)
) STRICT;
CREATE TABLE IF NOT EXISTS leaving (volume TEXT PRIMARY KEY, times INTEGER NOT NULL) STRICT;
ALTER TABLE open_change ADD COLUMN content TEXT NOT NULL DEFAULT '';
"""
# Snapshots that were brought in from files (keep/imported.py).
_IMPORTED = """
CREATE TABLE IF NOT EXISTS imported (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    digest TEXT NOT NULL UNIQUE,
    document TEXT NOT NULL,
    parts TEXT NOT NULL
) STRICT;
"""
# What people were told, episode by episode (keep/alerts.py).
_ALERTS = """
CREATE TABLE IF NOT EXISTS alert (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    uid TEXT NOT NULL UNIQUE,
    opened TEXT NOT NULL,
    snapshot INTEGER NOT NULL,
    level TEXT,
    ended TEXT NOT NULL DEFAULT '',
    how TEXT NOT NULL DEFAULT '',
    quiet_until TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TABLE IF NOT EXISTS stage (
    alert INTEGER NOT NULL REFERENCES alert(number),
    number INTEGER NOT NULL,
    kind TEXT NOT NULL,
    snapshot INTEGER NOT NULL,
    time TEXT NOT NULL,
    level TEXT NOT NULL,
    still_open TEXT,
    how TEXT NOT NULL,
    news TEXT NOT NULL,
    drift TEXT NOT NULL REFERENCES document(digest),
    message TEXT NOT NULL UNIQUE,
    is_spooled INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (alert, number)
) STRICT;
CREATE TABLE IF NOT EXISTS sign_of_life (
    snapshot INTEGER PRIMARY KEY,
    time TEXT NOT NULL,
    message TEXT NOT NULL
) STRICT;
"""
# The chain of records (keep/chain.py), the seals of what changes (keep/seals.py), and what is left of those
# snapshots that are no longer kept. The tables that those are dropped from hold no references any more: for
# each row that is dropped SQLite would read whole tables to see whether one leads to it.
_CHAIN = """
CREATE TABLE snapshot_5 (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    boot_id TEXT,
    moment TEXT NOT NULL,
    time TEXT NOT NULL,
    circumstance TEXT NOT NULL,
    state TEXT NOT NULL,
    gaps TEXT NOT NULL,
    overview TEXT NOT NULL,
    baseline TEXT,
    result TEXT,
    link BLOB
) STRICT;
INSERT INTO snapshot_5 SELECT *, NULL FROM snapshot;
CREATE TABLE prediction_5 (snapshot INTEGER PRIMARY KEY, content TEXT NOT NULL) STRICT;
INSERT INTO prediction_5 SELECT * FROM prediction;
CREATE TABLE start_5 (
    snapshot INTEGER PRIMARY KEY,
    predicted INTEGER,
    outcome TEXT,
    why TEXT NOT NULL,
    entry TEXT,
    volume TEXT,
    file TEXT,
    identity TEXT NOT NULL
) STRICT;
INSERT INTO start_5 SELECT * FROM start;
CREATE TABLE sighting_5 (
    snapshot INTEGER NOT NULL,
    habit TEXT NOT NULL,
    custody TEXT NOT NULL,
    what TEXT NOT NULL,
    PRIMARY KEY (snapshot, habit)
) STRICT;
INSERT INTO sighting_5 SELECT * FROM sighting;
DROP TABLE sighting;
DROP TABLE start;
DROP TABLE prediction;
DROP TABLE snapshot;
ALTER TABLE snapshot_5 RENAME TO snapshot;
ALTER TABLE prediction_5 RENAME TO prediction;
ALTER TABLE start_5 RENAME TO start;
ALTER TABLE sighting_5 RENAME TO sighting;
CREATE INDEX unclosed ON snapshot (number) WHERE link IS NULL;
CREATE INDEX based ON part (base) WHERE base IS NOT NULL;
ALTER TABLE part DROP COLUMN name;
CREATE TABLE anchor (number INTEGER PRIMARY KEY, link BLOB NOT NULL) STRICT;
CREATE TABLE seal (name TEXT PRIMARY KEY, digest BLOB NOT NULL) STRICT;
CREATE TABLE former_outcome (outcome TEXT PRIMARY KEY, starts INTEGER NOT NULL) STRICT;
CREATE TABLE former_target (
    volume TEXT NOT NULL,
    file TEXT,
    identity TEXT NOT NULL,
    entry TEXT,
    snapshot INTEGER NOT NULL,
    time TEXT NOT NULL
) STRICT;
CREATE TABLE former_habit (
    habit TEXT PRIMARY KEY,
    times INTEGER NOT NULL,
    proven INTEGER NOT NULL,
    snapshot INTEGER NOT NULL,
    time TEXT NOT NULL,
    what TEXT NOT NULL
) STRICT;
"""
# What each version added to the one before it, from version 1 on.
_STEPS = (_FIRST, _PREDICTIONS, _CHURN + _IMPORTED, _ALERTS, _CHAIN)
COMPACT = len(_STEPS) + 1  # records in few bytes (keep/compact.py)
VERSION = COMPACT
PREDICTIONS = 2  # the version that began to keep them
CHURN = 3
IMPORTED = 3
ALERTS = 4
CHAIN = 5


class NewerHistory(Problem):
    """The database was written by a version from the future: it is neither used nor replaced."""


def require_known(database: sqlite3.Connection, path: Path) -> None:
    """Raises NewerHistory for a newer version's database."""
    if version_of(database) > VERSION:
        raise NewerHistory(
            f"{path} was written by a newer bootwatch.", "Install that version again, or move the file away."
        )


def prepare(database: sqlite3.Connection, path: Path) -> None:
    """Make the tables that are not there yet, all or none. Raises Problem for a newer version's database."""
    database.execute("SELECT name FROM sqlite_master").fetchall()  # shows damage while it can be put aside
    require_known(database, path)
    if version_of(database) < VERSION:
        _bring_up(database)


def _bring_up(database: sqlite3.Connection) -> None:
    """In one transaction, and by the version that is found in it: two may be at it at once. Tables are
    replaced, so references don't count meanwhile."""
    database.execute("BEGIN IMMEDIATE")
    try:
        version = version_of(database)
        for step in _STEPS[version:]:
            for statement in step.split(";"):
                database.execute(statement)
        if version < CHAIN:
            chain.close_all(database)
        if version < COMPACT:
            compact.bring_up(database)
        seals.renew_all(database)
        database.execute(f"PRAGMA user_version = {VERSION}")
    except BaseException:
        database.execute("ROLLBACK")
        raise
    database.execute("COMMIT")


def version_of(database: sqlite3.Connection) -> int:
    """0 for a database that was not made whole."""
    return int(database.execute("PRAGMA user_version").fetchone()[0])
