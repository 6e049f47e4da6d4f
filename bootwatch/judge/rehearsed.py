"""What a rehearsal found: what comes after each loss, single points of failure, what would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.judge.following import next_phrase, next_routes, numbered
from bootwatch.judge.losses import Loss
from bootwatch.judge.mends import Mend
from bootwatch.judge.outlook import Outlook, SystemOutlook
from bootwatch.judge.steps import Route
from bootwatch.judge.systems import System
from bootwatch.judge.ways import way_phrase

FORMAT = "bootwatch/rehearsal/1"
_MOST_ROUTES = 8


class Effect(StrEnum):
    """What a loss does to one system, worst first. The word is the same in JSON."""

    NOT_AT_ALL = "no longer starts"
    INSTEAD = "no longer starts next"
    ON_REQUEST = "only on request"

    @property
    def rank(self) -> int:
        return list(Effect).index(self)


Point = tuple[int, Effect]


@dataclass(frozen=True)
class Rehearsed:
    """One loss and what comes after it. ``heard``: whether the system in which bootwatch runs would still be
    started next, None where that can't be told. ``effects`` go by a system's key."""

    number: int
    loss: Loss
    seen: Outlook
    heard: bool | None
    effects: Mapping[str, Effect]

    def to_json(self) -> dict[str, Any]:
        return {
            "number": self.number,
            "kind": self.loss.kind.value,
            "what": self.loss.what,
            "where": self.loss.where,
            "next_start": next_json(self.seen),
            "systems": [_system_json(one) for one in _shown(self.seen)],
            "heard": self.heard,
        }


@dataclass(frozen=True)
class Remedy:
    """A mend that was proven: the losses, by number, that no longer do anything to the system; those that do
    less; and those that would do more than now to some system (by name). ``if_elsewhere`` are disks with
    whose loss it helps only if the system itself, and not only its loader, lies on another one: that isn't
    recorded."""

    mend: Mend
    removes: tuple[int, ...]
    if_elsewhere: tuple[int, ...] = ()
    eases: tuple[Point, ...] = ()
    costs: tuple[tuple[str, int, Effect], ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            "sort": self.mend.sort.value,
            "what": self.mend.what,
            "removes": list(self.removes),
            "if_elsewhere": list(self.if_elsewhere),
            "eases": [_point_json(point) for point in self.eases],
            "costs": [{"system": name, **_point_json((loss, effect))} for name, loss, effect in self.costs],
        }


@dataclass(frozen=True)
class SystemRehearsal:
    """One system's single points of failure, worst first, and what would remove them. ``remain`` are those
    that are left when all remedies are taken together, with their effect then, but for those that they may
    help with (``if_elsewhere``). ``is_tried`` False: what would help was not worked out."""

    outlook: SystemOutlook
    points: tuple[Point, ...]
    remedies: tuple[Remedy, ...] = ()
    remain: tuple[Point, ...] = ()
    is_tried: bool = True

    def to_json(self) -> dict[str, Any]:
        return {
            **_system_json(self.outlook),
            "also": list(self.outlook.system.also),
            "single_points": [_point_json(point) for point in self.points],
            "remedies": [remedy.to_json() for remedy in self.remedies],
            "tried": self.is_tried,
            "remain": [_point_json(point) for point in self.remain],
        }


@dataclass(frozen=True)
class Rehearsal:
    """All of it. ``home`` is the system in which bootwatch runs; ``limits`` are sentences about what was left
    out; ``once``: BootNext or OsIndications ask for something at the very next start, which was left out."""

    now: Outlook
    home: System | None
    heard_now: bool | None
    losses: tuple[Rehearsed, ...]
    systems: tuple[SystemRehearsal, ...]
    limits: tuple[str, ...] = ()
    once: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "format": FORMAT,
            "home": self.home.name if self.home else None,
            "next_start": next_json(self.now),
            "heard": self.heard_now,
            "once": self.once,
            "systems": [one.to_json() for one in self.systems],
            "losses": [one.to_json() for one in self.losses],
            "limits": list(self.limits),
        }


def _point_json(point: Point) -> dict[str, Any]:
    return {"loss": point[0], "effect": point[1].value}


def _shown(seen: Outlook) -> list[SystemOutlook]:
    return [one for one in seen.systems if not one.system.hidden]


def _system_json(one: SystemOutlook) -> dict[str, Any]:
    routes = sorted(one.working(), key=lambda route: not route.unattended)
    return {
        "name": one.name,
        "starts": one.starts,
        "how": one.how.value,
        "through": [_route_json(route) for route in routes[:_MOST_ROUTES]],
        "routes": len(routes),
    }


def _route_json(route: Route) -> dict[str, Any]:
    return {
        "what": numbered(way_phrase(route), route.entry if route.label else None),
        "entry": route.entry,
        "partition": route.partition,
        "file": route.file,
        "unattended": route.unattended,
        "followed_to": route.followed_to.value,
    }


def next_json(seen: Outlook) -> dict[str, Any]:
    """What starts next, with its system and in words."""
    following = seen.next_start
    return {
        **following.to_json(),
        "system": seen.next_system.name if seen.next_system else None,
        "what": next_phrase(seen) + _end(seen),
    }


def _end(seen: Outlook) -> str:
    """Why it would not get past its loader by itself; "" where it would, or where more than one may start."""
    routes = next_routes(seen)
    if len(routes) != 1 or (routes[0].starts is not False and routes[0].unattended):
        return ""
    if routes[0].starts is False:
        return f", which gets no further than its loader: {routes[0].why}"
    return f", where somebody has to choose: {routes[0].why}"
