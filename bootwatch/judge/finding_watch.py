"""How long nobody watched: starts that this system did not see, by the TPM's count."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from bootwatch.judge.finding import told
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding
from bootwatch.model.snapshot import Circumstance

# Now and then another system is started; so many times in a row is a gap in the guard.
_LEAST = 10
# More than that is no number of starts, but another TPM.
_MOST = 10_000
# Where the other system's clock is the local time, a day more or less says nothing.
_SHORTEST, _LONGEST = timedelta(days=2), timedelta(days=3650)


def starts_unwatched(scene: Scene) -> Iterator[Finding]:
    """The count (TPM 2.0 part 2, resetCount) grows by one at each start; the last one is this system's own.
    A count that became smaller was cleared, and says nothing."""
    stop, begin = scene.past.stop, scene.past.begin
    if stop is None or begin is None or stop.tpm_resets is None or begin.tpm_resets is None:
        return
    unseen = begin.tpm_resets - stop.tpm_resets - 1
    if not _LEAST <= unseen <= _MOST or begin.boot_id == stop.boot_id:
        return
    running = scene.systems.running()
    days = _days(stop, begin)
    what = f"{unseen} starts" + (f" in {days} days" if days else "")
    where = f"the TPM's count of starts went from {stop.tpm_resets} to {begin.tpm_resets}"
    yield told("starts-unwatched", ("tpm",), what, where, system=running.name if running else None)


def _days(stop: Circumstance, begin: Circumstance) -> int | None:
    """Whole days between both by the clock; None where it jumped, or too little passed to say."""
    try:
        passed = datetime.fromisoformat(begin.time) - datetime.fromisoformat(stop.time)
    except (ValueError, TypeError):
        return None
    return passed.days if _SHORTEST <= passed <= _LONGEST else None
