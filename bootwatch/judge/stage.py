"""One machine on which losses are rehearsed: the outlook on it, now and after something happened to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from bootwatch.judge.ground import Place
from bootwatch.judge.outlook import Outlook, outlook
from bootwatch.judge.steps import By, Route
from bootwatch.judge.systems import System, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State

Owners = Mapping[Place, System]


@dataclass(frozen=True)
class OwnedSystems(Systems):
    """The same systems, but for files that a rehearsal gave to one of them."""

    owners: Owners = field(default_factory=dict)

    def system_of_file(self, volume: str, path: str, state: State | None = None) -> System | None:
        own = self.owners.get((volume, fold(path)))
        return own or super().system_of_file(volume, path, state)


@dataclass(frozen=True)
class Known:
    """Loaders that were followed to a kernel, by place and by content, and those that were not.

    One that isn't followed so far any more lost its settings or what they name: the loader alone proves
    nothing then.
    """

    deep: frozenset[Place] = frozenset()
    contents: frozenset[str] = frozenset()
    shallow: frozenset[Place] = frozenset()

    @classmethod
    def of(cls, seen: Outlook, state: State) -> Known:
        routes = [route for route in _all_routes(seen) if route.starts and route.place]
        deep = [route for route in routes if route.is_deep]
        contents = (_content(state, route) for route in deep)
        return cls(
            frozenset(route.place for route in deep if route.place),
            frozenset(content for content in contents if content),
            frozenset(route.place for route in routes if route.place and not route.is_deep),
        )

    def sobered(self, seen: Outlook, state: State) -> Outlook:
        """The same, but that it can't be told whether routes start of which less is known than before."""
        if not self.deep:
            return seen
        routes = tuple(self._judged(route, state) for route in seen.startup.routes)
        systems = tuple(
            replace(one, routes=tuple(self._judged(route, state) for route in one.routes))
            for one in seen.systems
        )
        return replace(seen, startup=replace(seen.startup, routes=routes), systems=systems)

    def _judged(self, route: Route, state: State) -> Route:
        if not route.starts or route.is_deep or route.place is None:
            return route
        was_deep = route.place in self.deep
        if not was_deep and (route.place in self.shallow or _content(state, route) not in self.contents):
            return route
        return replace(route, starts=None, why="whether it still finds a kernel can't be told")


def _all_routes(seen: Outlook) -> Iterator[Route]:
    yield from seen.startup.routes
    for one in seen.systems:
        yield from one.routes


def _content(state: State, route: Route) -> str | None:
    file = state.file(route.volume, route.file)
    return file.sha256 if file else None


@dataclass(frozen=True)
class Stage:
    """``systems`` stay the same whatever is lost: so one that was there before can be said to be missing.

    ``is_cut``: entries were left out that lead to what no other one leads to, so that what is not found may
    be there all the same. ``known`` is how far loaders were followed before anything was lost.
    """

    gaps: tuple[Gap, ...]
    systems: Systems
    is_cut: bool = False
    known: Known = field(default_factory=Known)

    def look(self, state: State, owners: Owners) -> Outlook:
        """The outlook on a state. ``owners`` says whose files are that were another's, or weren't there, in
        the states that systems were learnt from."""
        systems = OwnedSystems(**vars(self.systems), owners=owners) if owners else self.systems
        seen = self.known.sobered(outlook(state, self.gaps, systems), state)
        return _doubted(seen) if self.is_cut else seen


def _doubted(seen: Outlook) -> Outlook:
    """Only what starts through the boot order is certain: its first entries are never left out."""
    startup = seen.startup
    if startup.next_start.by is not By.ORDER:
        startup = replace(startup, next_start=replace(startup.next_start, certain=False))
    systems = tuple(replace(one, may_be_hidden=True) for one in seen.systems)
    return replace(seen, startup=startup, systems=systems)
