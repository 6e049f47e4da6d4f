"""Histories of any length, made without starting a machine so often."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from bootwatch.config import Config
from bootwatch.keep import churn
from bootwatch.keep.history import History
from bootwatch.model.instant import written
from bootwatch.model.moment import Moment
from bootwatch.model.snapshot import Snapshot
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import observe
from bootwatch.places import Places
from bootwatch.service.ahead import judged
from bootwatch.service.read import load_baseline
from bootwatch.service.starts import keep_prediction

_BEGIN = datetime(2026, 1, 1, tzinfo=UTC)


def grow(places: Places, starts: int) -> None:
    """Record so many starts more, in each of which all was found as it is now, as readings do: snapshot,
    prediction, whether it came true, comparison. Call it for a machine with a baseline."""
    baseline = load_baseline(places)
    if baseline is None:
        raise SystemExit("no baseline was saved")
    snapshot = observe(Machine(places.root), Moment.BOOT)
    found = judged(snapshot, baseline, Config())
    view = found.overview() | {"machine": baseline.machine, "routes": found.routes()}
    if found.drift is None:
        raise SystemExit("nothing was compared")
    with History.open(places.history) as history, history.transaction():
        for _ in range(starts):
            before = history.last_number() or 0
            now = _at(snapshot, before + 1)
            now = now.numbered(history.add(now, view))
            keep_prediction(history, now, found.outlook.startup)
            churn.note(history, now, before or None)
            history.set_result(now.number or 0, baseline.digest, found.drift)


def _at(snapshot: Snapshot, number: int) -> Snapshot:
    """The same some hours later, in a start of its own."""
    when = written(_BEGIN + timedelta(hours=7 * number))
    circumstance = replace(snapshot.circumstance, boot_id=str(uuid.uuid4()), time=when)
    return replace(snapshot, circumstance=circumstance)
