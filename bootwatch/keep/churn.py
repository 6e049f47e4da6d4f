"""Which files change at many starts, and which volumes come and go: counted as snapshots are recorded.

A row of ``churn`` for each file whose content ever differed from the snapshot before; one of ``leaving`` for
each volume that was there in one snapshot and not in the next. Starts are counted, never days.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bootwatch.keep.circumstances import unpacked
from bootwatch.keep.history import History
from bootwatch.keep.predictions import starts
from bootwatch.model.gap import Gap
from bootwatch.model.past import NO_PAST, Past, Spot
from bootwatch.model.path import fold, uncounted
from bootwatch.model.snapshot import HEADER, VOLUME_PART, Circumstance, Part, Snapshot

# A file is volatile when its content changed in so many starts, one of so many since the first of them.
_LEAST_STARTS = 3
_ONE_OF = 5
# What changes by the thousand at once is an installation, and no habit.
_MOST_AT_ONCE = 2000
# A volume that left so often is one that comes and goes.
_LEAST_LEAVINGS = 2


def note(history: History, snapshot: Snapshot, before: int | None) -> None:
    """Count what differs from the snapshot ``before``. Call it in the transaction that records the snapshot,
    once its start is recorded."""
    if before is None or snapshot.number is None:
        return
    was, now = history.part_digests(before), history.part_digests(snapshot.number)
    differing = [
        name for name in was if name.startswith(VOLUME_PART) and now.get(name) not in (None, was[name])
    ]
    parts = history.parts_by_digest({name: was[name] for name in differing})
    changed = [spot for name in differing for spot in _changed(name, parts[name], snapshot)]
    if len(changed) <= _MOST_AT_ONCE:
        _count(history, changed, snapshot.number)
    gone = [
        name.removeprefix(VOLUME_PART) for name in was if name.startswith(VOLUME_PART) and name not in now
    ]
    _count_leaving(history, (volume for volume in gone if _is_known(volume, snapshot.gaps)))


def _changed(name: str, before: Part, snapshot: Snapshot) -> Iterator[Spot]:
    identity = name.removeprefix(VOLUME_PART)
    former = {_folded(path): line.get("sha256") for path, line in before.items() if path != HEADER}
    for path, file in snapshot.state.volumes[identity].files.items():
        was = former.get(_folded(path))
        if was and file.sha256 and was != file.sha256:
            yield identity.partition("@")[0], _folded(path)


def _folded(path: str) -> str:
    return fold(uncounted(path))


def _is_known(volume: str, gaps: Iterable[Gap]) -> bool:
    """Whether a volume that isn't there can be said to have left."""
    plain = volume.partition("@")[0]
    return not any(
        gap.kind == "disk" or (gap.kind == "volume" and gap.name.partition("@")[0] == plain) for gap in gaps
    )


def _count(history: History, spots: Iterable[Spot], number: int) -> None:
    start = starts(history)
    history.database.executemany(
        "INSERT INTO churn VALUES (?1, ?2, 1, ?3, ?3, ?4) ON CONFLICT DO UPDATE SET"
        " starts = starts + (last_start <> ?3), last_start = ?3, last_snapshot = ?4",
        [(*spot, start, number) for spot in dict.fromkeys(spots)],
    )


def _count_leaving(history: History, volumes: Iterable[str]) -> None:
    history.database.executemany(
        "INSERT INTO leaving VALUES (?, 1) ON CONFLICT DO UPDATE SET times = times + 1",
        [(volume.partition("@")[0],) for volume in volumes],
    )


def past(history: History, now: Circumstance) -> Past:
    """What the recorded snapshots show together, for one that is taken now or was recorded last."""
    if not history.has_churn:
        return NO_PAST
    rows = history.database.execute("SELECT volume, path, last_snapshot FROM churn")
    volatile = history.database.execute(
        "SELECT volume, path FROM churn WHERE starts >= ? AND starts * ? >= ? - first_start + 1",
        (_LEAST_STARTS, _ONE_OF, starts(history)),
    )
    restless = history.database.execute("SELECT volume FROM leaving WHERE times >= ?", (_LEAST_LEAVINGS,))
    stop, begin = _edges(history, now)
    return Past(
        volatile=frozenset((volume, path) for volume, path in volatile),
        changed_in={(volume, path): number for volume, path, number in rows},
        restless=frozenset(volume for (volume,) in restless),
        stop=stop,
        begin=begin,
    )


def _edges(history: History, now: Circumstance) -> tuple[Circumstance | None, Circumstance]:
    """The last snapshot before this start, and the first of this start."""
    first = history.database.execute(
        "SELECT number, circumstance FROM snapshot WHERE boot_id = ? ORDER BY number LIMIT 1", (now.boot_id,)
    ).fetchone()
    begin = Circumstance.from_json(unpacked(first[1])) if first else now
    before = history.database.execute(
        "SELECT circumstance FROM snapshot WHERE number < ? ORDER BY number DESC LIMIT 1",
        (first[0] if first else 1 << 62,),
    ).fetchone()
    stop = Circumstance.from_json(unpacked(before[0])) if before else None
    return (stop if stop and now.boot_id and stop.boot_id else None), begin
