"""Which routes of the baseline no longer lead to their system, and which are left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.entries import Entry, entry_name, read_order
from bootwatch.judge.ground import Place
from bootwatch.judge.outlook import Outlook, SystemOutlook
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.judge.steps import By, Route
from bootwatch.judge.systems import System
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.variable import key


@dataclass(frozen=True)
class LostWay:
    """A route that worked and no longer does. ``only_asked``: it still works, but no longer by itself."""

    system: System
    route: Route
    only_asked: bool = False


@dataclass(frozen=True)
class LostWays:
    """The routes of both sides, compared."""

    sides: Sides
    before: Outlook
    now: Outlook

    @cached_property
    def all(self) -> tuple[LostWay, ...]:
        return tuple(way for one in self.before.systems for way in self._of(one))

    def _of(self, former: SystemOutlook) -> Iterator[LostWay]:
        today = self.now.by_key.get(former.system.key)
        kept = {self._mark_now(route): route for route in _routes(today, self._made_now)}
        for route in _routes(former, self._made_before):
            if not route.starts:
                continue
            twin = kept.get(self._mark_before(route))
            if twin is None and self._may_hide(route):
                continue
            if twin is None or twin.starts is False:
                yield LostWay(former.system, route)
            elif twin.starts and route.unattended and not twin.unattended:
                yield LostWay(former.system, route, only_asked=True)

    def _may_hide(self, route: Route) -> bool:
        """Whether a route that isn't found may lie in what could not be read."""
        entry = self._entry_now.get(route.entry or "")
        if route.entry and entry is None:
            order = key("BootOrder")
            return any(gap.covers_an_entry or gap.covers_variable(order) for gap in self.sides.gaps)
        return entry in self._untold or any(self._hides_volume(gap, route) for gap in self.sides.gaps)

    def _hides_volume(self, gap: Gap, route: Route) -> bool:
        if gap.kind == "volume":
            return plain(gap.name) == plain(route.volume or "") or route.by is By.MENU
        return gap.kind == "disk"

    @cached_property
    def _untold(self) -> frozenset[str | None]:
        """Entries of which it can't be told what they start."""
        routes = self.now.startup.routes
        return frozenset(route.entry for route in routes if route.entry and route.starts is None)

    @cached_property
    def _made_before(self) -> frozenset[str]:
        return _firmware_made(self.sides.entries_before)

    @cached_property
    def _made_now(self) -> frozenset[str]:
        return _firmware_made(self.sides.entries_now)

    def left_order(self, route: Route) -> bool:
        """Whether a route's entry is still there, but no longer in the boot order."""
        number = self._entry_now.get(route.entry or "")
        return number is not None and number not in self._order_now

    @cached_property
    def _order_now(self) -> frozenset[str]:
        return frozenset(entry_name(number) for number in read_order(self.sides.now))

    def _mark_before(self, route: Route) -> tuple[object, ...]:
        """What makes it the same way on the other side."""
        return self._mark(route, self._entry_now.get(route.entry or "", ""), self._place_now(route))

    def _mark_now(self, route: Route) -> tuple[object, ...]:
        return self._mark(route, route.entry or "", route.place)

    @staticmethod
    def _mark(route: Route, entry: str, place: Place | None) -> tuple[object, ...]:
        if route.by is By.MENU:
            return (By.MENU, route.through, place)
        return (entry, place) if route.entry else (By.FALLBACK, place)

    @cached_property
    def _entry_now(self) -> dict[str, str]:
        return {before.name: entry_name(now.number) for before, now in self.sides.entries.same}

    @cached_property
    def _volume_now(self) -> dict[str, str]:
        return {before.identity: now.identity for before, now in self.sides.volumes.same}

    def _place_now(self, route: Route) -> Place | None:
        if not route.volume or not route.file:
            return None
        return self._volume_now.get(route.volume, route.volume), fold(route.file)


def _routes(system: SystemOutlook | None, made: frozenset[str]) -> Iterator[Route]:
    """All but the firmware's own entries, which come and go: the fallback stands for them.

    Of two equal ones the better comes last, which is the one that a dictionary keeps.
    """
    counted = (route for route in (system.routes if system else ()) if route.entry not in made)
    return iter(sorted(counted, key=lambda route: (bool(route.starts), route.unattended)))


def _firmware_made(entries: Mapping[int, Entry]) -> frozenset[str]:
    return frozenset(entry.name for entry in entries.values() if entry.is_firmware_made)


def uses(route: Route, volume: str, path: str) -> bool:
    """Whether a route needs a file, by the baseline's identity of its volume."""
    places = (*((route.place,) if route.place else ()), *route.uses)
    return any(plain(one) == plain(volume) and needed == fold(path) for one, needed in places)
