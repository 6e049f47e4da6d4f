"""Open changes: since when each is there, and which of them people were told of."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from typing import Any

from bootwatch.keep.canonical import canonical, digest
from bootwatch.keep.history import History
from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level, worst

Item = Change | Finding

# How many snapshots are gone through for one that saw what is sought.
_FURTHEST = 500
# The scope of a finding: what hides it is not recorded, so it is only forgotten when all could be read.
_ANYWHERE: dict[str, Any] = {}


def content_of(item: Item) -> str:
    """The digest of what a change led to: a loader that changes a second time is news again. What is wrong by
    itself is told once, as long as it stays so; its level counts, since it can get worse."""
    return digest([item.after if isinstance(item, Change) else item.level.value])[:16]


def spans(
    history: History, drift: Drift, baseline: str, number: int | None
) -> dict[str, tuple[int | None, int | None]]:
    """For each change the last snapshot without it and the first with it. What led to something else since is
    another change: a loader that is replaced once more has a new time.

    ``baseline`` is the digest of the baseline compared with; ``number`` is the snapshot's own, None when it
    isn't recorded. Only a snapshot in which the change could have been seen counts as one without it.
    """
    has_content = "content" if history.has_churn else "''"
    rows = history.database.execute(f"SELECT id, last_without, first_with, {has_content} FROM open_change")
    known = {own: ((last_without, first_with), content) for own, last_without, first_with, content in rows}
    earlier = _Earlier(history, baseline, number)
    found: dict[str, tuple[int | None, int | None]] = {}
    for change in drift.changes:
        ends, content = known.get(change.id, (None, ""))
        is_same = ends is not None and content in ("", content_of(change))
        found[change.id] = ends if ends and is_same else (earlier.last_without(change), number)
    return found


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
            if not hidden and not any(_is_same(other, change) for other in drift.changes):
                return number
        return None


def _is_same(one: Change, other: Change) -> bool:
    return one.id == other.id and content_of(one) == content_of(other)


def keep_open(history: History, drift: Drift, number: int | None = None) -> None:
    """Record which changes and findings are open in snapshot ``number``; those that are gone are forgotten,
    and told anew if they return.

    What can't be seen at the moment stays open. Call it inside a transaction.
    """
    open_now: tuple[Item, ...] = (*drift.changes, *drift.findings)
    there = {item.id for item in open_now}
    for own, scope in history.database.execute("SELECT id, scope FROM open_change").fetchall():
        if own not in there and not _may_hide(drift.gaps, json.loads(scope)):
            history.database.execute("DELETE FROM open_change WHERE id = ?", (own,))
    rows = [(one.id, *one.between, canonical(one.scope), content_of(one)) for one in drift.changes]
    rows += [(one.id, None, number or 0, canonical(_ANYWHERE), content_of(one)) for one in drift.findings]
    history.database.executemany(
        "INSERT INTO open_change VALUES (?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET last_without ="
        " excluded.last_without, first_with = excluded.first_with, content = excluded.content"
        " WHERE content <> excluded.content",
        rows,
    )


def _may_hide(gaps: Iterable[Gap], scope: dict[str, Any]) -> bool:
    """A gap of the machine as such (a log that can't be read) hides nothing, and may stay for good."""
    return any(gap.hides(scope) or (scope == _ANYWHERE and gap.kind != "machine") for gap in gaps)


def since(history: History, item: Item) -> int:
    """The first snapshot with it, as it was recorded; 0 for what isn't open."""
    row = history.database.execute("SELECT first_with FROM open_change WHERE id = ?", (item.id,)).fetchone()
    return int(row[0]) if row else 0


def news(history: History, drift: Drift, known: Collection[str] = ()) -> list[Item]:
    """What nobody was told of yet: changes above routine, and what is wrong by itself and weakens a start.
    What got worse since it was told is news again, unless something new says as much: what hid a system's
    last way may be readable now.

    ``known`` are ids of findings that a person saw when the baseline was saved.
    """
    told = _Told(history)
    items = to_tell(drift, known)
    fresh = [item for item in items if told.level(item) is None]
    most = worst(item.level for item in fresh)
    return fresh + [
        item for item in items if told.is_worse(item) and not (most and most.at_least(item.level))
    ]


class _Told:
    """What people were told of so far, and how bad it was said to be."""

    def __init__(self, history: History) -> None:
        self._levels: dict[str, dict[str, Level]] = {}
        for own, content, level in history.database.execute("SELECT id, content, level FROM told"):
            self._levels.setdefault(own, {})[content] = Level(level)

    def level(self, item: Item) -> Level | None:
        """None for what nobody was told of. What is wrong by itself stays one thing while it is there."""
        levels = self._levels.get(item.id, {})
        return levels.get(content_of(item)) if isinstance(item, Change) else worst(levels.values())

    def is_worse(self, item: Item) -> bool:
        """Whether people were told of it, and it is worse now."""
        level = self.level(item)
        return level is not None and not level.at_least(item.level)


def to_tell(drift: Drift, known: Collection[str] = ()) -> list[Item]:
    """What people must hear of, told or not. ``known`` as above."""
    changes = [change for change in drift.changes if change.level is not Level.ROUTINE]
    wrong = [one for one in drift.findings if one.level.at_least(Level.WEAKENED) and one.id not in known]
    return [*changes, *wrong]


def worst_told(history: History, drift: Drift, known: Collection[str] = ()) -> Level | None:
    """The worst that people were told of and that is there now; None where nothing is. ``known`` as above."""
    told = _Told(history)
    return worst(filter(None, map(told.level, to_tell(drift, known))))


def hidden(history: History, drift: Drift) -> list[Level]:
    """How bad what people were told of was last, where it can't be seen now."""
    there = {one.id for one in drift.changes} | {one.id for one in drift.findings}
    # Of what led to something else meanwhile the last holds, as far as people were told of it.
    rows = history.database.execute(
        "SELECT id, level FROM told JOIN open_change AS now USING (id)"
        " WHERE now.content IN ('', told.content)"
        " OR NOT EXISTS (SELECT 1 FROM told AS own WHERE own.id = now.id AND own.content = now.content)"
    )
    return [Level(level) for own, level in rows.fetchall() if own not in there]


def grown(history: History, drift: Drift) -> list[Item]:
    """What people were told of and is worse now."""
    told = _Told(history)
    return [item for item in _all(drift) if told.is_worse(item)]


def mark_told(history: History, items: Iterable[Item], message: str) -> None:
    """Remember that a message with these lies in the spool; what is gone again is passed over. Call it
    inside a transaction."""
    history.database.executemany(
        "INSERT OR REPLACE INTO told SELECT id, ?2, ?3, ?4 FROM open_change WHERE id = ?1",
        [(item.id, content_of(item), item.level.value, message) for item in items],
    )


def ease(history: History, drift: Drift) -> None:
    """Remember of what was told how much better it is now: should it get worse again, that is news. Call it
    inside a transaction."""
    rows = history.database.execute("SELECT id, content, level FROM told").fetchall()
    now = {one.id: one.level for one in _all(drift)}
    better = [
        (now[own].value, own, content)
        for own, content, level in rows
        if own in now and not now[own].at_least(Level(level))
    ]
    history.database.executemany("UPDATE told SET level = ? WHERE id = ? AND content = ?", better)


def forget_told(history: History) -> None:
    """Nothing of what people were told of is open any more. Call it inside a transaction."""
    history.database.execute("DELETE FROM told")


def _all(drift: Drift) -> Iterator[Item]:
    yield from drift.changes
    yield from drift.findings
