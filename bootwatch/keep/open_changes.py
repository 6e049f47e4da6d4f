"""Open changes: since when each is there, and which of them people were told of."""

from __future__ import annotations

import json
from collections.abc import Iterator

from bootwatch.keep.canonical import canonical, digest
from bootwatch.keep.history import History
from bootwatch.model.change import Change, Drift
from bootwatch.model.level import Level

# How many snapshots are gone through for one that saw what is sought.
_FURTHEST = 500


def content_of(change: Change) -> str:
    """The digest of what a change led to: a loader that changes a second time is news again."""
    return digest([change.after])[:16]


def spans(
    history: History, drift: Drift, baseline: str, number: int | None
) -> dict[str, tuple[int | None, int | None]]:
    """For each change the last snapshot without it and the first with it.

    ``baseline`` is the digest of the baseline compared with; ``number`` is the snapshot's own, None when it
    isn't recorded. Only a snapshot in which the change could have been seen counts as one without it.
    """
    rows = history.database.execute("SELECT id, last_without, first_with FROM open_change")
    known = {own: (last_without, first_with) for own, last_without, first_with in rows}
    earlier = _Earlier(history, baseline, number)
    return {
        change.id: known.get(change.id) or (earlier.last_without(change), number) for change in drift.changes
    }


class _Earlier:
    """Former comparisons with the same baseline, newest first, read as far as they are asked for."""

    def __init__(self, history: History, baseline: str, number: int | None) -> None:
        self._rows = history.rows_before(number, baseline, _FURTHEST)
        self._drifts: list[tuple[int, Drift]] = []

    def _all(self) -> Iterator[tuple[int, Drift]]:
        yield from self._drifts
        for row in self._rows:
            drift = row.drift
            if drift is not None:
                self._drifts.append((row.number, drift))
                yield row.number, drift

    def last_without(self, change: Change) -> int | None:
        for number, drift in self._all():
            hidden = any(gap.hides(change.scope) for gap in drift.gaps)
            if not hidden and all(other.id != change.id for other in drift.changes):
                return number
        return None


def keep_open(history: History, drift: Drift) -> None:
    """Record which changes are open now; those that are gone are forgotten, and told anew if they return.

    A change that can't be seen at the moment stays open. Call it inside a transaction.
    """
    there = {change.id for change in drift.changes}
    for own, scope in history.database.execute("SELECT id, scope FROM open_change").fetchall():
        if own not in there and not any(gap.hides(json.loads(scope)) for gap in drift.gaps):
            history.database.execute("DELETE FROM open_change WHERE id = ?", (own,))
    history.database.executemany(
        "INSERT OR IGNORE INTO open_change VALUES (?, ?, ?, ?)",
        [(change.id, *change.between, canonical(change.scope)) for change in drift.changes],
    )


def news(history: History, drift: Drift) -> list[Change]:
    """The changes above routine that nobody was told of yet."""
    told = set(history.database.execute("SELECT id, content FROM told"))
    return [
        change
        for change in drift.changes
        if change.level is not Level.ROUTINE and (change.id, content_of(change)) not in told
    ]


def mark_told(history: History, changes: list[Change], message: str) -> None:
    """Remember that a message with these changes lies in the spool. Call it inside a transaction."""
    history.database.executemany(
        "INSERT OR REPLACE INTO told VALUES (?, ?, ?, ?)",
        [(change.id, content_of(change), change.level.value, message) for change in changes],
    )
