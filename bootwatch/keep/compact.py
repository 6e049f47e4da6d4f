"""How records lie in the database, small, and the views by which they are read as they were recorded.

What comes again in most records (a digest, a system's loader, why a prediction came true) is stored once, as
a word or a document, and named by its number; a boot id is 16 bytes, a time so many seconds, and of a
circumstance only what differs from an earlier one. The views `snapshot`, `prediction` and `start` give all
that back in full. They belong to the connection, not to the file, which holds no view.
"""

from __future__ import annotations

import hashlib
import re
import sqlite3
import uuid
from datetime import UTC, datetime
from typing import Any

from bootwatch.keep.circumstances import packed, unpacked
from bootwatch.model.instant import written

TABLES = """
CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE document_6 (id INTEGER PRIMARY KEY, digest TEXT NOT NULL UNIQUE, text TEXT NOT NULL) STRICT;
INSERT INTO document_6 (digest, text) SELECT digest, text FROM document;
CREATE TABLE record (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    boot ANY,
    moment INTEGER NOT NULL,
    time ANY NOT NULL,
    alike INTEGER NOT NULL,
    otherwise TEXT,
    state INTEGER,
    gaps INTEGER,
    overview INTEGER,
    baseline INTEGER,
    result INTEGER,
    link BLOB
) STRICT;
CREATE TABLE forecast (snapshot INTEGER PRIMARY KEY, content INTEGER NOT NULL) STRICT;
CREATE TABLE begun (
    snapshot INTEGER PRIMARY KEY,
    predicted INTEGER,
    outcome INTEGER,
    why INTEGER NOT NULL,
    entry INTEGER,
    volume INTEGER,
    file INTEGER,
    identity INTEGER NOT NULL
) STRICT;
DROP TABLE document;
ALTER TABLE document_6 RENAME TO document
"""
_LAST = """
DROP TABLE snapshot;
DROP TABLE prediction;
DROP TABLE start;
CREATE INDEX unclosed ON record (number) WHERE link IS NULL
"""


def _word(column: str) -> str:
    return f"(SELECT text FROM main.word WHERE id = {column})"


def _document(column: str, what: str = "digest") -> str:
    return f"(SELECT {what} FROM main.document WHERE id = {column})"


_HEX = "lower(hex(boot))"
_DASHED = " || '-' || ".join(
    f"substr({_HEX}, {first}, {length})" for first, length in ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))
)
_BOOT = f"CASE typeof(boot) WHEN 'blob' THEN {_DASHED} ELSE boot END"
_TIME = (
    "CASE typeof(time) WHEN 'integer' THEN strftime('%Y-%m-%dT%H:%M:%SZ', time, 'unixepoch') ELSE time END"
)
_ALIKE = f"coalesce({_document('alike', 'text')}, '')"
_BOOT_OR_NOT = f"coalesce('=' || {_BOOT}, '')"
_CIRCUMSTANCE = " || char(10) || ".join(
    (_ALIKE, "coalesce(otherwise, '')", f"coalesce({_word('moment')}, '')", _TIME, _BOOT_OR_NOT)
)
_OF_STARTS = ", ".join(
    f"{_word(name)} AS {name}" for name in ("outcome", "why", "entry", "volume", "file", "identity")
)
_VIEWS = {
    "snapshot": f"""SELECT number, {_BOOT} AS boot_id, {_word("moment")} AS moment, {_TIME} AS time,
        {_CIRCUMSTANCE} AS circumstance, {_document("state")} AS state, {_document("gaps")} AS gaps,
        {_document("overview")} AS overview, {_word("baseline")} AS baseline,
        {_document("result")} AS result, link
        FROM main.record""",
    "prediction": f"SELECT snapshot, {_document('content')} AS content FROM main.forecast",
    "start": f"SELECT snapshot, predicted, {_OF_STARTS} FROM main.begun",
    # What really started the system, each thing once; and how often what came of predictions.
    "used": f"""SELECT {_word("entry")} AS entry, {_word("volume")} AS volume, {_word("file")} AS file,
        {_word("identity")} AS identity, snapshot FROM (SELECT entry, volume, file, identity, max(snapshot) AS
        snapshot FROM main.begun WHERE volume IS NOT NULL GROUP BY volume, file, identity)""",
    "outcomes": f"""SELECT {_word("outcome")} AS outcome, starts FROM
        (SELECT outcome, count(*) AS starts FROM main.begun GROUP BY outcome)""",
}


def make_views(database: sqlite3.Connection) -> None:
    """Give a connection the views. Call it before nothing may be written any more."""
    database.execute("PRAGMA temp_store=MEMORY")
    for name, query in _VIEWS.items():
        database.execute(f"CREATE TEMP VIEW IF NOT EXISTS {name} AS {query}")


def word(database: sqlite3.Connection, text: str | None) -> int | None:
    """A word's number; it is stored unless it is there."""
    if text is None:
        return None
    database.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
    return int(database.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()[0])


def document(database: sqlite3.Connection, own: str | None) -> int | None:
    """The number of a document that is there, by its digest."""
    if own is None:
        return None
    return int(database.execute("SELECT id FROM document WHERE digest = ?", (own,)).fetchone()[0])


def add(
    database: sqlite3.Connection,
    circumstance: dict[str, Any],
    documents: dict[str, str | None],
    number: int | None = None,
) -> int:
    """Add a record and return its number. ``documents``: digests by column, ``baseline`` among them. Call it
    inside a transaction."""
    own = [
        number,
        _small_boot(circumstance["boot_id"]),
        word(database, circumstance["moment"]),
        _small_time(circumstance["time"]),
        *_small_circumstance(database, circumstance),
        *(document(database, documents[name]) for name in ("state", "gaps", "overview", "result")),
        word(database, documents["baseline"]),
    ]
    cursor = database.execute(
        "INSERT INTO record (number, boot, moment, time, alike, otherwise, state, gaps, overview, result,"
        " baseline) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        own,
    )
    return _number_of(cursor)


def repeat(database: sqlite3.Connection, number: int, moment: str, time: str) -> int:
    """The same as in a record, ``number``, once more, at another moment."""
    same = "boot, alike, otherwise, state, gaps, overview, baseline, result"
    cursor = database.execute(
        f"INSERT INTO record (moment, time, {same}) SELECT ?, ?, {same} FROM record WHERE number = ?",
        (word(database, moment), _small_time(time), number),
    )
    new = _number_of(cursor)
    database.execute("INSERT INTO forecast SELECT ?, content FROM forecast WHERE snapshot = ?", (new, number))
    return new


def _number_of(cursor: sqlite3.Cursor) -> int:
    if cursor.lastrowid is None:
        raise sqlite3.DatabaseError("the snapshot got no number")
    return cursor.lastrowid


def _small_circumstance(
    database: sqlite3.Connection, circumstance: dict[str, Any]
) -> tuple[int | None, str | None]:
    last = database.execute(
        "SELECT alike, text FROM record JOIN document ON id = alike ORDER BY number DESC LIMIT 1"
    ).fetchone()
    own = packed(circumstance, last[1] if last else None)
    if last and own.alike == last[1]:
        return int(last[0]), own.otherwise or None
    return document(database, store(database, own.alike)), None


def store(database: sqlite3.Connection, text: str) -> str:
    """Store a document by its canonical text, unless it is there. Returns its digest."""
    own = hashlib.sha256(text.encode()).hexdigest()
    database.execute("INSERT OR IGNORE INTO document (digest, text) VALUES (?, ?)", (own, text))
    return own


_UUID = re.compile("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def _small_boot(boot_id: str | None) -> bytes | str | None:
    return uuid.UUID(boot_id).bytes if boot_id and _UUID.fullmatch(boot_id) else boot_id


def _small_time(time: str) -> int | str:
    """Seconds, where they say all that the text does."""
    try:
        seconds = int(datetime.fromisoformat(time).timestamp())
        return seconds if seconds >= 0 and written(datetime.fromtimestamp(seconds, UTC)) == time else time
    except (ValueError, OverflowError, OSError):
        return time


def bring_up(database: sqlite3.Connection) -> None:
    """Lay the records of a history of before in this way. Call it inside a transaction."""
    for statement in TABLES.split(";"):
        database.execute(statement)
    columns = "number, circumstance, state, gaps, overview, result, baseline, link"
    links = []
    for number, text, *others, link in database.execute(f"SELECT {columns} FROM snapshot ORDER BY number"):
        names = ("state", "gaps", "overview", "result", "baseline")
        add(database, unpacked(text), dict(zip(names, others, strict=True)), number)
        links.append((link, number))
    database.executemany("UPDATE record SET link = ? WHERE number = ?", links)
    database.execute(
        "INSERT INTO forecast SELECT snapshot, id FROM prediction JOIN document ON digest = content"
    )
    words = ("outcome", "why", "entry", "volume", "file", "identity")
    for name in words:
        database.execute(
            f"INSERT OR IGNORE INTO word (text) SELECT DISTINCT {name} FROM start WHERE {name} IS NOT NULL"
        )
    ids = ", ".join(f"(SELECT id FROM word WHERE text = {name})" for name in words)
    database.execute(f"INSERT INTO begun SELECT snapshot, predicted, {ids} FROM start")
    # The next number is one that was never given, also where the newest records are lost.
    database.execute("DELETE FROM sqlite_sequence WHERE name = 'record'")
    database.execute(
        "INSERT INTO sqlite_sequence SELECT 'record', seq FROM sqlite_sequence WHERE name = 'snapshot'"
    )
    for statement in _LAST.split(";"):
        database.execute(statement)
