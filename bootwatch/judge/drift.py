"""How a snapshot differs from the baseline."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.judge.consequence import Consequences
from bootwatch.judge.drafts import finish
from bootwatch.judge.entry_changes import entry_changes, moved_entries, next_changes, order_changes
from bootwatch.judge.file_changes import file_changes
from bootwatch.judge.findings import findings, unseen
from bootwatch.judge.firmware_changes import firmware_changes
from bootwatch.judge.intact import files_untouched
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.scene import Scene
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Naming
from bootwatch.judge.volume_changes import volume_changes
from bootwatch.judge.weigh import Weights
from bootwatch.model.change import Drift, Finding
from bootwatch.model.gap import Gap
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.snapshot import Snapshot, State


@dataclass(frozen=True)
class Comparison:
    """How a snapshot differs, and what it means by itself: ``outlook`` is what would start now, what was
    asked for once included; the scene's systems are those of both sides, ``findings`` need no baseline.
    ``next_expected``: whether the usual system starts next, and ``files_untouched``: whether people's files
    are where they were; None where that can't be told."""

    drift: Drift
    outlook: Outlook
    scene: Scene
    findings: tuple[Finding, ...]
    next_expected: bool | None
    files_untouched: bool | None


def compare(
    before: State,
    before_gaps: tuple[Gap, ...],
    now: Snapshot,
    *,
    weights: Weights | None = None,
    names: Naming | None = None,
    past: Past = NO_PAST,
) -> Comparison:
    """Everything that differs from the baseline, what is wrong by itself, and what could not be seen.

    ``names`` is what the settings say about systems.
    """
    sides = Sides(before, now.state, before_gaps, now.gaps, names, now.circumstance)
    drafts = [
        *entry_changes(sides),
        *order_changes(sides),
        *next_changes(sides),
        *volume_changes(sides),
        *file_changes(sides),
        *firmware_changes(sides),
    ]
    consequences = Consequences(sides, past)
    drafts += moved_entries(sides, consequences.unclaimed(drafts))
    changes = finish(drafts, weights or Weights(), consequences.of)
    scene = Scene(now, sides.systems, consequences.now, past, consequences.known_before)
    by_itself = findings(scene)
    found = (*by_itself, *consequences.unexplained(changes), *unseen(sides))
    drift = Drift(changes, found, now.gaps)
    untouched = files_untouched(before, now.state)
    return Comparison(drift, consequences.at_once, scene, by_itself, consequences.next_expected, untouched)
