"""What a snapshot means: which systems start, through which routes, and which one starts next."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Any

from bootwatch.judge.depth import Depth, follow
from bootwatch.judge.entries import Entry, entries_by_name
from bootwatch.judge.ground import Ground, Landing, Place
from bootwatch.judge.pairs import plain
from bootwatch.judge.startup import By, NextStart, Route, Startup, simulate
from bootwatch.judge.systems import System, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State


class How(StrEnum):
    """By what a system starts."""

    BY_ITSELF = "by itself"
    ON_REQUEST = "on request"
    NOT_AT_ALL = "not at all"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class SystemOutlook:
    """One system and every route to it. ``may_be_hidden``: a route may lie in what could not be read."""

    system: System
    routes: tuple[Route, ...]
    may_be_hidden: bool = False

    @property
    def name(self) -> str:
        return self.system.name

    @property
    def starts(self) -> bool | None:
        """Whether any route starts it; None where that can't be told."""
        verdicts = {route.starts for route in self.routes}
        if True in verdicts:
            return True
        return None if None in verdicts or self.may_be_hidden else False

    @property
    def how(self) -> How:
        if self.starts is None:
            return How.UNKNOWN
        if not self.starts:
            return How.NOT_AT_ALL
        return How.BY_ITSELF if any(self.working(unattended=True)) else How.ON_REQUEST

    def working(self, *, unattended: bool = False) -> Iterator[Route]:
        """The routes that start it; with ``unattended`` those that need no person."""
        return (route for route in self.routes if route.starts and (route.unattended or not unattended))

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "also": list(self.system.also),
            "starts": self.starts,
            "how": self.how.value,
            "removable": self.system.removable,
            "routes": [route.to_json() for route in self.routes],
        }


@dataclass(frozen=True)
class Outlook:
    """All of it. ``next_system`` None: what starts next belongs to no system, or isn't known."""

    startup: Startup
    systems: tuple[SystemOutlook, ...]
    next_system: System | None

    @property
    def next_start(self) -> NextStart:
        return self.startup.next_start

    @cached_property
    def by_key(self) -> dict[str, SystemOutlook]:
        return {one.system.key: one for one in self.systems}


def outlook(
    state: State,
    gaps: tuple[Gap, ...],
    systems: Systems,
    *,
    failing: frozenset[Place] = frozenset(),
) -> Outlook:
    """Simulate the start, follow each route, sort the routes by system. ``failing`` as in ``simulate``."""
    return _Sorter(state, gaps, systems, failing).outlook()


@dataclass(frozen=True)
class _Sorter:
    state: State
    gaps: tuple[Gap, ...]
    systems: Systems
    failing: frozenset[Place]

    def outlook(self) -> Outlook:
        startup = simulate(self.state, self.gaps, failing=self.failing)
        routes = tuple(self._followed(route) for route in startup.routes)
        startup = replace(startup, routes=routes)
        owned: dict[str, list[Route]] = {system.key: [] for system in self.systems.all()}
        for route in (*routes, *self._through_menus(routes)):
            # A menu's route carries the entry that leads to the menu.
            entry = route.entry if route.by is not By.MENU else None
            system = self._system_of(route.volume, route.file, entry)
            if system:
                owned.setdefault(system.key, []).append(route)
        following = startup.next_start
        return Outlook(
            startup,
            tuple(
                SystemOutlook(system, tuple(owned[system.key]), self._may_hide(system))
                for system in self.systems.all()
            ),
            self._system_of(following.volume, following.file, following.entry),
        )

    def _system_of(self, volume: str | None, file: str | None, entry: str | None = None) -> System | None:
        """By the entry where it names the loader, found or not; else by the file, as it is in this state."""
        held = self.entries.get(entry or "")
        own = self.systems.system_of_entry(held, self.state) if held and held.file else None
        if own or not volume or not file:
            return own
        return self.systems.system_of_file(volume, file, self.state)

    @cached_property
    def entries(self) -> dict[str, Entry]:
        return entries_by_name(self.state)

    def _depth(self, volume: str, file: str) -> Depth:
        return follow(self.state, self.gaps, volume, file)

    def _followed(self, route: Route) -> Route:
        """With what was found beyond the loader. A route that fails already needs no following."""
        if route.starts is False or not route.volume or not route.file:
            return route
        depth = self._depth(route.volume, route.file)
        starts = depth.starts if route.starts else (False if depth.starts is False else None)
        why = depth.why if route.starts and depth.why else route.why
        return replace(
            route,
            starts=starts,
            why=why,
            followed_to=depth.followed_to,
            uses=depth.uses,
            unattended=route.unattended and depth.unattended is not False,
        )

    def _through_menus(self, routes: tuple[Route, ...]) -> Iterator[Route]:
        """Where the start menus lead that these routes reach, if it is to another system."""
        ground = Ground(self.state, self.gaps, self.failing)
        seen: set[tuple[str, str, Place]] = set()
        for route in routes:
            if not route.starts or not route.volume or not route.file:
                continue
            own = self._system_of(route.volume, route.file, route.entry)
            for lead in self._depth(route.volume, route.file).leads_to:
                other = self._system_of(lead.volume, lead.path)
                place = (lead.volume, fold(lead.path))
                mark = (own.key if own else "", route.entry or "", place)
                if other and own and other.key != own.key and mark not in seen:
                    seen.add(mark)
                    yield self._led(route, own, _landing(ground, lead.volume, lead.path))

    def _led(self, route: Route, own: System, landing: Landing) -> Route:
        led = Route(
            by=By.MENU,
            entry=route.entry,
            label=route.label,
            volume=landing.volume,
            file=landing.file,
            starts=landing.starts,
            why=landing.why,
            unattended=False,
            through=own.name,
        )
        return self._followed(led)

    def _may_hide(self, system: System) -> bool:
        volumes = {plain(volume) for volume in system.volumes}
        return any(
            gap.kind == "disk" or gap.covers_an_entry or (gap.kind == "volume" and plain(gap.name) in volumes)
            for gap in self.gaps
        )


def _landing(ground: Ground, volume: str, path: str) -> Landing:
    held = ground.state.volumes.get(volume)
    return ground.land(held, path) if held else Landing(None, "its volume was not read", volume, path)
