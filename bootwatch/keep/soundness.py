"""Whether a history is as it was recorded: its chain, its documents and parts by their digests, its seals.

Reads the whole database once, row by row, and writes nothing.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator

from bootwatch.keep import chain, seals
from bootwatch.keep.canonical import digest
from bootwatch.keep.history import History
from bootwatch.model.snapshot import Part

# Where documents are named outside the records, and parts outside the states.
_NAMED_DOCUMENTS = "SELECT drift FROM stage"
_NAMED_PARTS = (
    "SELECT text FROM document WHERE digest IN (SELECT state FROM snapshot) UNION SELECT parts FROM imported"
)


def faults(history: History) -> Iterator[str]:
    """A sentence for each thing that is not as it was recorded."""
    return faults_in(history.database)


def faults_in(database: sqlite3.Connection) -> Iterator[str]:
    """The same of an open database."""
    # Bytes that are no text are damage, and not the end of the look.
    database.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        said = str(database.execute("PRAGMA integrity_check(1)").fetchone()[0])
        if said != "ok":  # what comes out of it then may be anything
            yield f"The database file is damaged: {said}."
            return
        sound, damaged = _documents(database)
        yield from _said(damaged, "Documents that are not what they were")
        yield from _records(database, sound)
        yield from _said(_loose_parts(database), "Parts of snapshots that are not what they were")
        yield from _said(_missing(database, sound), "Documents and parts of snapshots that are missing")
        yield from (f"Not as it was recorded: {name}." for name in seals.broken(database))
    except sqlite3.DatabaseError as error:
        yield f"It can't be read to its end: {error}."


def _said(found: Iterable[object], what: str) -> Iterator[str]:
    number = sum(1 for _ in found)
    if number:
        yield f"{what}: {number}."


def _documents(database: sqlite3.Connection) -> tuple[set[str], set[str]]:
    """The digests of those documents that are what their digests say, and of those that aren't."""
    sound: set[str] = set()
    damaged: set[str] = set()
    for own, text in database.execute("SELECT digest, text FROM document"):
        is_sound = hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest() == own
        (sound if is_sound else damaged).add(own)
    return sound, damaged


# the chain


def _records(database: sqlite3.Connection, sound: set[str]) -> Iterator[str]:
    """From the first record to the newest, whose number is known although it may be gone."""
    anchors = dict(database.execute("SELECT number, link FROM anchor ORDER BY number").fetchall())
    last, link = 0, chain.FIRST
    for record in chain.records(database):
        for number in anchors:
            if last < number < record.number:
                last, link = number, anchors[number]
        yield from _missing_numbers(last, record.number - 1)
        if record.number == last + 1 and record.link != record.link_after(link):
            yield f"Snapshot {record.number} is not as it was recorded, or the one before it was another."
        elif not sound.issuperset(record.documents):
            yield f"Snapshot {record.number} is no longer whole."
        last, link = record.number, record.link or chain.FIRST
    newest = database.execute("SELECT seq FROM sqlite_sequence WHERE name = 'record'").fetchone()
    yield from _missing_numbers(max(last, *anchors, 0), newest[0] if newest else 0)
    yield from _said(_loose_rows(database), "Predictions, starts and habits without their snapshot")


def _missing_numbers(last: int, before: int) -> Iterator[str]:
    if before == last + 1:
        yield f"Snapshot {before} is missing."
    elif before > last:
        yield f"Snapshots {last + 1} to {before} are missing."
    elif before < last:
        yield f"There should be no snapshot after {before}, and there is {last}."


def _loose_rows(database: sqlite3.Connection) -> Iterator[int]:
    for table in ("prediction", "start", "sighting"):
        query = f"SELECT snapshot FROM {table} WHERE snapshot NOT IN (SELECT number FROM snapshot)"
        yield from (number for (number,) in database.execute(query))


# parts and what names them


def _loose_parts(database: sqlite3.Connection) -> Iterator[str]:
    """The digests of those parts that are not what their digests say, or based on what isn't there."""
    based: dict[str | None, list[str]] = {}
    for own, base in database.execute("SELECT digest, base FROM part"):
        based.setdefault(base, []).append(own)
    waiting: list[tuple[str, Part, int]] = [(own, {}, 0) for own in based.pop(None, [])]
    while waiting:
        own, before, depth = waiting.pop()
        part = _put_together(database, own, before, depth)
        if part is None or digest(part) != own:
            yield own
        waiting += [(other, part or {}, depth + 1) for other in based.pop(own, [])]
    for others in based.values():
        yield from others


def _put_together(database: sqlite3.Connection, own: str, before: Part, expected: int) -> Part | None:
    """A part from the one that it is based on; None where its row is damaged."""
    query = "SELECT depth, put, dropped FROM part WHERE digest = ?"
    depth, put, dropped = database.execute(query, (own,)).fetchone()
    try:
        gone, new = set(json.loads(dropped)), dict(json.loads(put))
    except (ValueError, TypeError):
        return None
    if depth != expected or not gone <= before.keys():
        return None
    return {key: line for key, line in before.items() if key not in gone} | new


def _missing(database: sqlite3.Connection, sound: set[str]) -> Iterator[str]:
    yield from (own for (own,) in database.execute(_NAMED_DOCUMENTS) if own not in sound)
    there = {own for (own,) in database.execute("SELECT digest FROM part")}
    for (text,) in database.execute(_NAMED_PARTS):
        yield from (own for own in _named_in(text) if own not in there)


def _named_in(text: str) -> list[str]:
    """The digests of the parts that a state names; none where that is damaged, which was said already."""
    try:
        return [str(own) for own in json.loads(text).values()]
    except (ValueError, AttributeError):
        return []
