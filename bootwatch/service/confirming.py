"""Whether what the last restore wrote is still there after the next start."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import Any

from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.past import Past, Unkept
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.recover.confirm import confirmed, lasting, noun, reverted
from bootwatch.recover.record import Record
from bootwatch.recover.steps import Step, from_json
from bootwatch.tell.journal import announce_restore
from bootwatch.tell.plain import plain

_LOG_LINE = 4000
_ALL_KEPT = "all that was written is still there"

Document = dict[str, Any]


def last_restore(places: Places, snapshot: Snapshot) -> Document | None:
    """The newest restore that wasn't taken back, held against a snapshot; None where there is none.

    ``started``: whether the machine was started since. ``finished``: whether nothing stopped it.
    """
    record = _newest(places)
    if record is None:
        return None
    steps = _written(record)
    found = confirmed(steps, snapshot.state, snapshot.gaps)
    return {
        "restore": record.number,
        "began": record.document.get("began", ""),
        "finished": record.is_finished,
        "written": len(steps),
        "started": _is_started_since(record, snapshot),
        "dropped": [step.what for step in found.dropped],
        "unknown": [step.what for step in found.unknown],
    }


def confirm(places: Places, history: History, snapshot: Snapshot) -> list[str]:
    """Lines for the log, in the first snapshot of a later start by which it can be told; none otherwise."""
    record = _newest(places)
    steps = _written(record) if record and _is_started_since(record, snapshot) else []
    if record is None or not steps:
        return []
    own = f"{_named(record)}, after the next start: "
    found = confirmed(steps, snapshot.state, snapshot.gaps)
    if history.has_logged(own) or (found.unknown and not found.dropped):
        return []
    said = "; ".join(step.what for step in found.dropped)
    said = f"no longer as it was written: {said}" if said else _ALL_KEPT
    announce_restore(record.number, f"after the next start: {said}", places, is_stopped=bool(found.dropped))
    return [plain(f"{snapshot.circumstance.time} {own}{said}", _LOG_LINE)]


def with_unkept(
    past: Past, places: Places, history: History, snapshot: Snapshot, baseline: Baseline | None
) -> Past:
    """The ``past`` with what did not last of the newest restore: what wasn't there any more in the first
    reading of a later start by which it can be told, and isn't there now. Another baseline ends that."""
    record = _newest(places)
    if record is None or not _is_started_since(record, snapshot):
        return past
    own, former = _named(record), record.document.get("baseline")
    is_another = baseline is not None and former is not None and former != baseline.digest
    if is_another or history.has_logged(f"{own}, after the next start: {_ALL_KEPT}"):
        return past
    found = confirmed(_written(record), snapshot.state, snapshot.gaps)
    things = tuple(noun(step) for step in reverted(found, snapshot.state))
    return replace(past, unkept=Unkept(own, things)) if things else past


def _named(record: Record) -> str:
    return f"restore {record.number} of {plain(str(record.document.get('began', '')), 40)}"


def _newest(places: Places) -> Record | None:
    with contextlib.suppress(Problem, OSError):  # one that is damaged is said where it would be taken back
        return Record.newest(places.restores)
    return None


def _written(record: Record) -> list[Step]:
    """What was written to last."""
    try:
        return lasting([from_json(done.step) for done in record.written])
    except (KeyError, TypeError, ValueError, OverflowError):
        return []  # one edited by hand: said where it would be taken back


def _is_started_since(record: Record, snapshot: Snapshot) -> bool:
    """By the start's own identifier: no clock is asked."""
    then, now = record.document.get("boot"), snapshot.circumstance.boot_id
    return bool(then) and bool(now) and then != now
