"""Open changes: since when each is there, and which of them people were told of."""

from __future__ import annotations

from bootwatch.keep.canonical import digest
from bootwatch.keep.history import History, Row
from bootwatch.model.change import Change, Drift
from bootwatch.model.level import Level

_UNSEEN = "unseen"


def content_of(change: Change) -> str:
    """The digest of what a change led to: a loader that changes a second time is news again."""
    return digest([change.after])[:16]


def spans(
    history: History, drift: Drift, baseline: str, saved_as: int | None, number: int | None
) -> dict[str, tuple[int | None, int | None]]:
    """For each change the last snapshot without it and the first with it.

    ``baseline`` is the digest of the baseline compared with and ``saved_as`` the snapshot it was made of;
    ``number`` is the snapshot's own, None when it isn't recorded.
    """
    known = {
        own: (last_without, first_with)
        for own, last_without, first_with in history.database.execute(
            "SELECT id, last_without, first_with FROM open_change"
        )
    }
    before = _last_without(history, baseline, saved_as, number)
    return {change.id: known.get(change.id, (before, number)) for change in drift.changes}


def _last_without(history: History, baseline: str, saved_as: int | None, number: int | None) -> int | None:
    """The newest snapshot in which all that the baseline holds was seen, none of the new changes among it."""
    last = next((row for row in history.rows(2) if number is None or row.number < number), None)
    if last and last.baseline == baseline and _saw_all(last):
        return last.number
    if saved_as is not None and (number is None or saved_as < number) and history.row(saved_as):
        return saved_as
    return None


def _saw_all(row: Row) -> bool:
    drift = row.drift
    return drift is not None and all(finding.finding != _UNSEEN for finding in drift.findings)


def keep_open(history: History, drift: Drift) -> None:
    """Record which changes are open now; those that are gone are forgotten, and told anew if they return.

    A change that can't be seen at the moment stays open. Call it inside a transaction.
    """
    unseen = any(finding.finding == _UNSEEN for finding in drift.findings)
    ids = [change.id for change in drift.changes]
    if not unseen:
        marks = ",".join("?" * len(ids))
        history.database.execute(f"DELETE FROM open_change WHERE id NOT IN ({marks})", ids)
    history.database.executemany(
        "INSERT OR IGNORE INTO open_change VALUES (?, ?, ?)",
        [(change.id, *change.between) for change in drift.changes],
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
