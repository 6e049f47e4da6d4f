"""The outlook as plain JSON values: what is recorded, published, and shown.

Bounded: a hostile store of variables can hold 65,536 entries. What starts is kept before what fails, and
``more`` counts what was left out.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from bootwatch.judge.entries import Entry, entries_by_name
from bootwatch.judge.ground import Landing, Place
from bootwatch.judge.outlook import How, Outlook, SystemOutlook
from bootwatch.judge.proof import started
from bootwatch.judge.steps import By, Candidate, NextStart, Outcome, Route, Step
from bootwatch.judge.system import System
from bootwatch.model.path import fold
from bootwatch.model.prediction import Target, entry_key, file_key
from bootwatch.model.snapshot import Snapshot

T = TypeVar("T")
FORMAT = "bootwatch/routes/1"
_MOST_STEPS = 250
_MOST_ROUTES = 500
_MOST_SYSTEMS = 50
_MOST_OF_SYSTEM = 100
_MOST_CHOICES = 20
_MOST_VOLUMES = 100
_MOST_GAPS = 500
_SECURE_BOOT = "Secure Boot is on; whether it allows a loader is not looked at yet."


def routes_document(outlook: Outlook, snapshot: Snapshot, running: System | None) -> dict[str, Any]:
    """What starts next and the way to it, all routes, all systems; without what was recorded earlier.

    ``running`` is the system that took the snapshot, None where that can't be told.
    """
    return _Writer(outlook, snapshot, running).document()


def mark_of(key: str) -> str:
    """A short form of the key by which a route that was used is found again."""
    return hashlib.sha256(key.encode("utf-8", "backslashreplace")).hexdigest()[:16]


@dataclass(frozen=True)
class _Writer:
    outlook: Outlook
    snapshot: Snapshot
    running: System | None

    def document(self) -> dict[str, Any]:
        routes = _best_routes(self.outlook.startup.routes, _MOST_ROUTES)
        shown = [one for one in self.outlook.systems if not one.system.hidden]
        steps = self._steps
        return {
            "format": FORMAT,
            "next_start": self._next(self.outlook.next_start),
            "trail": [self._step(step) for step in steps],
            "routes": [
                self._route(route, self._owner(route.entry, route.volume, route.file)) for route in routes
            ],
            "systems": [self._system(one) for one in shown[:_MOST_SYSTEMS]],
            "volumes": self._volumes(),
            "running": self._running(),
            "cautions": self._cautions(),
            "gaps": [gap.to_json() for gap in self.snapshot.gaps[:_MOST_GAPS]],
            "more": {
                "trail": len(self.outlook.startup.trail) - len(steps),
                "routes": len(self.outlook.startup.routes) - len(routes),
                "systems": len(shown[_MOST_SYSTEMS:]),
                "gaps": len(self.snapshot.gaps[_MOST_GAPS:]),
            },
        }

    @property
    def _steps(self) -> Sequence[Step]:
        """Those that start, or may, before those that are passed over."""
        trail = self.outlook.startup.trail
        return _best(trail, [step.outcome is Outcome.PASSED for step in trail], _MOST_STEPS)

    @cached_property
    def _entries(self) -> dict[str, Entry]:
        return entries_by_name(self.snapshot.state)

    def _label(self, entry: str | None) -> str:
        found = self._entries.get(entry or "")
        return found.label if found else ""

    def _owner(self, entry: str | None, volume: str | None, file: str | None) -> str | None:
        return self._owners.get((entry, (volume or "", fold(file or ""))))

    @cached_property
    def _owners(self) -> dict[tuple[str | None, Place], str]:
        """Whose what the firmware's routes lead to is. By the entry too: one loader can start two systems."""
        return {
            (route.entry, (route.volume or "", fold(route.file or ""))): one.name
            for one in self.outlook.systems
            for route in one.routes
            if route.by is not By.MENU
        }

    # the next start and the way to it

    def _next(self, following: NextStart) -> dict[str, Any]:
        system = self.outlook.next_system
        taken = next((step for step in self.outlook.startup.trail if step.is_taken), None)
        return {
            **following.to_json(),
            "outcome": (taken.outcome if taken else Outcome.PASSED).value,
            "label": following.label,
            "volume": following.volume,
            "system": system.name if system else None,
            "candidates": [self._candidate(one) for one in following.candidates[:_MOST_CHOICES]],
        }

    def _candidate(self, one: Candidate) -> dict[str, Any]:
        system = self._owner(one.entry, one.volume, one.file)
        return {**one.to_json(), "label": self._label(one.entry), "volume": one.volume, "system": system}

    def _step(self, step: Step) -> dict[str, Any]:
        landing = step.landing
        volume, file = (landing.volume, landing.file) if landing else (None, None)
        several = len({one.place for one in step.landings}) > 1
        choices = [_choice(one) for one in step.landings[:_MOST_CHOICES]] if several else []
        system = self._owner(step.entry, volume, file)
        return {**step.to_json(), "volume": volume, "system": system, "choices": choices}

    # routes and systems

    def _route(self, route: Route, system: str | None) -> dict[str, Any]:
        return {
            **route.to_json(),
            "label": route.label,
            "volume": route.volume,
            "system": system,
            "mark": self._mark(route),
        }

    def _mark(self, route: Route) -> str | None:
        """None for what can't be proved: nothing records what was chosen in a start menu."""
        if route.by is By.MENU:
            return None
        entry = self._entries.get(route.entry or "")
        if entry:
            return mark_of(entry_key(entry.identity))
        return mark_of(file_key(route.volume, route.file)) if route.volume and route.file else None

    def _system(self, one: SystemOutlook) -> dict[str, Any]:
        routes = _best_routes(one.routes, _MOST_OF_SYSTEM)
        return {
            **one.to_json(),
            "routes": [self._route(route, one.name) for route in routes],
            "more": len(one.routes) - len(routes),
            "why": _why(one),
        }

    # besides

    def _running(self) -> dict[str, Any] | None:
        """What took the snapshot, and how that was started, as far as anything shows it."""
        proof = started(self.snapshot.circumstance, self.outlook.startup, self.snapshot.state)
        found = proof.target or Target()
        name = self.running.name if self.running else self._owner(found.entry, found.volume, found.file)
        if name is None and proof.target is None:
            return None
        return {
            "system": name,
            "entry": found.entry,
            "label": self._label(found.entry),
            "volume": found.volume,
            "file": found.file,
            "by": list(proof.evidence),
            "doubt": proof.doubt,
        }

    def _volumes(self) -> list[dict[str, Any]]:
        """What people call the volumes that routes lead to."""
        state = self.snapshot.state
        used = {route.volume for one in self.outlook.systems for route in one.routes}
        volumes = [volume for volume in state.volumes.values() if volume.identity in used]
        return [
            {
                "volume": volume.identity,
                "label": volume.label,
                "disk": disk.model if disk else "",
                "removable": bool(disk and disk.removable),
            }
            for volume in volumes[:_MOST_VOLUMES]
            for disk in (state.disks.get(volume.disk),)
        ]

    def _cautions(self) -> list[str]:
        variable = self.snapshot.state.variable("SecureBoot")
        return [_SECURE_BOOT] if variable and variable.data == b"\x01" else []


def _best(things: Sequence[T], is_last: Sequence[bool], most: int) -> Sequence[T]:
    """At most so many, in their order; ``is_last`` says which of them are left out first."""
    if len(things) <= most:
        return things
    ranked = sorted(range(len(things)), key=lambda place: (is_last[place], place))
    return [things[place] for place in sorted(ranked[:most])]


def _best_routes(routes: Sequence[Route], most: int) -> Sequence[Route]:
    return _best(routes, [route.starts is False for route in routes], most)


def _choice(landing: Landing) -> dict[str, Any]:
    return {
        "partition": landing.partition,
        "volume": landing.volume,
        "file": landing.file,
        "starts": landing.starts,
        "why": landing.why,
    }


def _why(one: SystemOutlook) -> str:
    """Why a system doesn't start, or why that can't be told; "" for one that starts."""
    if one.starts:
        return ""
    if one.how is How.UNKNOWN:
        unclear = next((route.why for route in one.routes if route.starts is None), "")
        return unclear or "a way to start it may lie in what could not be read"
    if not one.routes:
        return "no entry and no default file leads to it"
    return one.routes[0].why if len(one.routes) == 1 else f"all {len(one.routes)} ways to start it fail"
