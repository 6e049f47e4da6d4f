"""Snapshots that were brought in from files: kept beside the recorded ones, and never taken for one of them.

They have names of their own, i1, i2 and so on, and a table of their own: what asks for the newest snapshot, a
last look or a start never meets them. Their states lie in the same parts.
"""

from __future__ import annotations

import json
import re
from typing import Any

from bootwatch.keep import parts, schema
from bootwatch.keep.canonical import canonical, digest
from bootwatch.keep.history import History
from bootwatch.keep.snapshot_file import Kept, from_document

_NAME = re.compile(r"i([1-9][0-9]{0,17})")


def number_in(name: str) -> int | None:
    """The number in an imported snapshot's name; None where it is no such name."""
    given = _NAME.fullmatch(name)
    return int(given[1]) if given else None


def bring_in(history: History, kept: Kept) -> tuple[str, bool]:
    """Keep a snapshot, unless the same one is here. Returns its name, and whether it is new. Call it inside a
    transaction."""
    document = kept.to_json()
    own = digest(document)
    row = history.database.execute("SELECT number FROM imported WHERE digest = ?", (own,)).fetchone()
    if row:
        return f"i{row[0]}", False
    state = document.pop("state")
    number = history.last_number()
    near = history.part_digests(number) if number is not None else {}
    held = {name: parts.store(history.database, part, near.get(name)) for name, part in state.items()}
    added = history.database.execute(
        "INSERT INTO imported (digest, document, parts) VALUES (?, ?, ?)",
        (own, canonical(document), canonical(held)),
    )
    return f"i{added.lastrowid}", True


def load(history: History, number: int) -> Kept:
    """An imported snapshot. Raises KeyError for one that isn't there."""
    row = _rows(history, "WHERE number = ?", number)
    if not row:
        raise KeyError(number)
    _, document, held = row[0]
    state = history.parts_by_digest(json.loads(held))
    return from_document({**json.loads(document), "state": state}, f"i{number}")


def listed(history: History) -> list[tuple[str, dict[str, Any]]]:
    """Each one's name and its document without the state, newest first."""
    rows = _rows(history, "WHERE number > ? ORDER BY number DESC", 0)
    return [(f"i{number}", json.loads(document)) for number, document, _ in rows]


def _rows(history: History, which: str, value: int) -> list[tuple[int, str, str]]:
    if schema.version_of(history.database) < schema.IMPORTED:
        return []
    found = history.database.execute(f"SELECT number, document, parts FROM imported {which}", (value,))
    return found.fetchall()
