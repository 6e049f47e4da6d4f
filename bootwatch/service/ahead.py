"""What a snapshot says of starting: worked out, and put together with what was recorded earlier."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from typing import Any

from bootwatch.config import Config
from bootwatch.judge.altered import usual
from bootwatch.judge.drift import compare
from bootwatch.judge.findings import findings
from bootwatch.judge.outlook import Outlook, outlook
from bootwatch.judge.overview import overview
from bootwatch.judge.routes_document import mark_of, routes_document
from bootwatch.judge.scene import Scene
from bootwatch.judge.systems import Systems
from bootwatch.keep import predictions
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.change import Drift, Finding
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import Problem

NO_RECORD: dict[str, Any] = {"right": 0, "judged": 0, "unknown": 0, "misses": [], "habits": [], "proven": {}}


@dataclass(frozen=True)
class Judged:
    """What a snapshot means. ``drift`` is None where there is no baseline, and not placed in time yet.
    ``next_expected``: whether the usual system starts next, and ``files_untouched``: whether people's files
    are where they were; None where that can't be told."""

    scene: Scene
    findings: tuple[Finding, ...]
    drift: Drift | None
    outlook: Outlook
    next_expected: bool | None = None
    files_untouched: bool | None = None

    def numbered(self, snapshot: Snapshot) -> Judged:
        """The same, of a snapshot that got its number since."""
        return replace(self, scene=replace(self.scene, snapshot=snapshot))

    @property
    def systems(self) -> Systems:
        return self.scene.systems

    def overview(self) -> dict[str, Any]:
        """Entries, volumes and what is wrong by itself, as the document that is recorded."""
        return overview(self.scene, self.findings)

    def routes(self) -> dict[str, Any]:
        """Which systems start and what starts next, as the document that is recorded."""
        return routes_document(self.outlook, self.scene.snapshot, self.systems.running())


def judged(snapshot: Snapshot, baseline: Baseline | None, config: Config, past: Past = NO_PAST) -> Judged:
    """Compare with the baseline and look ahead.

    Systems are learnt from the baseline too: one of which nothing is left does not start.
    """
    names = config.system_names
    if baseline:
        given = baseline.state, baseline.gaps, snapshot
        found = compare(*given, weights=config.weights, names=names, past=past)
        told = found.next_expected, found.files_untouched
        return Judged(found.scene, found.findings, found.drift, found.outlook, *told)
    systems = Systems.learn((snapshot.state,), names, snapshot.circumstance)
    state = usual(snapshot.state)
    now = outlook(state, snapshot.gaps, systems)
    scene = Scene(snapshot, systems, now, past)
    is_usual = state is snapshot.state
    at_once = now if is_usual else outlook(snapshot.state, snapshot.gaps, systems)
    return Judged(scene, findings(scene), None, at_once)


def with_record(
    document: dict[str, Any], *, machine: str, snapshot: int | None, time: str, record: dict[str, Any]
) -> dict[str, Any]:
    """The recorded document as it is shown: whose and when, what was proven, and how predictions did here."""
    used = {mark_of(key): proof for key, proof in record["proven"].items()}
    systems = [
        {**system, "routes": [_proven(route, used) for route in system["routes"]]}
        for system in document["systems"]
    ]
    return {
        **document,
        "machine": machine,
        "snapshot": snapshot,
        "time": time,
        "routes": [_proven(route, used) for route in document["routes"]],
        "systems": systems,
        "record": {key: record[key] for key in ("right", "judged", "unknown", "misses")},
        "habits": record["habits"],
    }


def _proven(route: dict[str, Any], used: dict[str, Any]) -> dict[str, Any]:
    return {**route, "proven": used.get(route["mark"])}


def record_of(places: Places) -> dict[str, Any]:
    """What was predicted and proven so far; nothing where no history can be read."""
    with contextlib.suppress(Problem), History.look(places.history) as history:
        if history:
            return predictions.summary(history)
    return NO_RECORD
