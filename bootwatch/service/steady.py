"""Whether another reading of the same start that finds all as it is would come to the same."""

from __future__ import annotations

from bootwatch.keep import alerts, open_changes
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.past import Past
from bootwatch.model.snapshot import Circumstance
from bootwatch.service.telling import seen_when_saved


def is_steady(
    history: History,
    now: Circumstance,
    baseline: Baseline | None,
    drift: Drift | None,
    hidden: tuple[Level, ...],
    pasts: tuple[Past, Past],
) -> bool:
    """``now`` was just recorded with what came of it; ``pasts`` are what the history showed before and shows
    since. What the package manager did is told by the first reading alone."""
    if now.boot_id is None or now.packages or hidden or pasts[0] != pasts[1]:
        return False
    if alerts.current(history) is not None:
        return False
    if drift is None:
        return True
    return not drift.changes and not open_changes.to_tell(drift, seen_when_saved(baseline, drift))
