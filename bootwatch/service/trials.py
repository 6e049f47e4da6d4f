"""What came of the last trial, by what bootwatch saw of the start after it."""

from __future__ import annotations

from typing import Any

from bootwatch.keep import predictions
from bootwatch.keep.history import History
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.recover.record import Record
from bootwatch.service.asked import Kind

FORMAT = "bootwatch/trial/1"

Document = dict[str, Any]


def last_trial(places: Places, again: str) -> Document:
    """``result`` is "proven", "otherwise", "unseen" (bootwatch doesn't run in that system), or "waiting" for
    a start; by snapshots, never by the clock. ``again`` is how `restore` is called. Raises Problem."""
    record = Record.newest_of(places.restores, Kind.TRIAL.value)
    if record is None:
        raise UsageProblem(
            "There was no trial yet.", f"To start a system once: {again} --trial SYSTEM --write"
        )
    about, step = record.document, record.done[0].step
    document = {
        "format": FORMAT,
        "system": str(about.get("system", "")),
        "entry": str(step["entry"]),
        "label": str(step["label"]),
        "asked": str(about.get("began", "")),
        "result": "waiting",
    }
    return document | _seen(places, about, str(step["entry"]))


def _seen(places: Places, about: Document, entry: str) -> Document:
    snapshot = str(about.get("snapshot", ""))
    with History.look(places.history) as history:
        if history is None or not snapshot.isdecimal():
            return {}
        start = predictions.first_start_after(history, int(snapshot))
        if start is None:
            return {}
        number, target = start
        row = history.row(number)
        own = about.get("own") == "True"
        otherwise = "otherwise" if own else "unseen"
        result = "proven" if target.entry == entry else otherwise
        between = _between(history, int(snapshot), number)
    return {
        "result": result,
        "snapshot": number,
        "time": row.time if row else "",
        "started_by": {"entry": target.entry, "volume": target.volume, "file": target.file},
        "starts_between": between,
    }


def _between(history: History, first: int, last: int) -> int | None:
    """How many starts the TPM counted between two snapshots that bootwatch saw nothing of; None where that
    isn't known."""
    before, after = _count(history, first), _count(history, last)
    return None if before is None or after is None else max(after - before - 1, 0)


def _count(history: History, number: int) -> int | None:
    known = history.circumstance(number)
    return known.tpm_resets if known else None
