"""Scenes written down by hand, and what is found wrong in them by itself."""

from __future__ import annotations

from typing import Any

from bootwatch.judge.altered import usual
from bootwatch.judge.findings import findings
from bootwatch.judge.outlook import outlook
from bootwatch.judge.scene import Scene
from bootwatch.judge.systems import Systems
from bootwatch.model.change import Finding
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State

RELEASE = {"id": "fernwick", "name": "Fernwick Linux"}


def scene(
    held: State,
    *,
    gaps: tuple[Gap, ...] = (),
    past: Past = NO_PAST,
    before: State | None = None,
    **circumstance: Any,
) -> Scene:
    """``before``: systems are learnt from that state too, as from a baseline."""
    now = Circumstance("this start", Moment.ASKED, "2026-05-04T10:00:00Z", **circumstance)
    systems = Systems.learn((*((before,) if before else ()), held), None, now)
    return Scene(Snapshot(now, held, gaps), systems, outlook(usual(held), gaps, systems), past)


def found(held: State, **more: Any) -> list[Finding]:
    """``more`` as for ``scene``."""
    return list(findings(scene(held, **more)))


def told(held: State, **more: Any) -> list[tuple[str, str]]:
    """The names and levels."""
    return [(one.finding, one.level.value) for one in found(held, **more)]


def volume_gap(volume: str, path: str | None = None, reason: Reason = Reason.UNREADABLE) -> Gap:
    return Gap("volume", volume, reason, "input/output error", path)
