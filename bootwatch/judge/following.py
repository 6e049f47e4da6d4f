"""What starts next: whether it is a certain system, whether that would come up, and what to call it."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.ground import Place
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.steps import By, Candidate, Route
from bootwatch.judge.systems import System
from bootwatch.judge.ways import entry_phrase


def starts_next(seen: Outlook, system: System) -> bool | None:
    """Whether the firmware starts a loader of the system's. None where it can't be told: the firmware has a
    choice, something could not be read, or what starts is another system whose start menu leads on to this
    one."""
    following = seen.next_start
    if following.by is By.SETUP:
        return None
    if following.certain:
        owner = seen.next_system
        is_it = owner is not None and owner.key == system.key
        return is_it or (None if _leads_on(seen, system) else False)
    verdicts = {_is_of(seen, one, system) for one in following.candidates}
    is_same = verdicts.pop() if len(verdicts) == 1 else None
    return None if is_same is False and _leads_on(seen, system) else is_same


def comes_up(seen: Outlook, system: System) -> bool | None:
    """Whether the system starts next and gets past its loader by itself, as far as that was followed."""
    is_next = starts_next(seen, system)
    if not is_next:
        return is_next
    verdicts = {_gets_on(route) for route in next_routes(seen)}
    if len(verdicts) > 1:
        return None
    return verdicts.pop() if verdicts else True


def next_routes(seen: Outlook) -> list[Route]:
    """The routes by which what starts next is reached; more than one where the firmware has a choice."""
    following = seen.next_start
    wanted: set[tuple[str | None, Place | None]]
    if following.certain:
        wanted = {(following.entry, following.place)}
    else:
        wanted = {(one.entry, one.place) for one in following.candidates}
    return [route for route in seen.startup.routes if route.place and (route.entry, route.place) in wanted]


def _gets_on(route: Route) -> bool | None:
    return route.starts and route.unattended


def _leads_on(seen: Outlook, system: System) -> bool:
    """Whether some start menu leads to the system: by itself, perhaps."""
    return any(route.by is By.MENU and route.starts is not False for route in _own(seen, system))


def _own(seen: Outlook, system: System) -> Iterator[Route]:
    own = seen.by_key.get(system.key)
    return iter(own.routes if own else ())


def _is_of(seen: Outlook, candidate: Candidate, system: System) -> bool | None:
    place = candidate.place
    if place is None:
        return None
    owners = {one.system.key for one in seen.systems for route in one.routes if route.place == place}
    return system.key in owners if owners else None


def next_phrase(seen: Outlook) -> str:
    """What starts next as a phrase: "Quarry, through the entry "Quarry"". It may carry hostile characters."""
    following = seen.next_start
    if following.by is By.SETUP:
        return "the firmware's own setup"
    if following.by is By.NOTHING:
        sure = "nothing: the firmware would stop in its own menu"
        return sure if following.certain else "what can't be told"
    name = seen.next_system.name if seen.next_system else _unowned(following.file)
    if following.entry:
        way = entry_phrase(following.entry, following.label)
        way = numbered(way, following.entry if following.label else None)
    else:
        way = f"the default file {following.file}" if following.file else "the firmware's own search"
    return ("" if following.certain else "probably ") + f"{name}, through {way}"


def numbered(way: str, entry: str | None) -> str:
    """A way with the entry's name behind it."""
    return f"{way} ({entry})" if entry else way


def _unowned(file: str | None) -> str:
    return f"{file}, which belongs to no known system" if file else "a program in the firmware itself"
