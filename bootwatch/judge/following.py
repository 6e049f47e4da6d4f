"""Whether it is a certain system that starts next."""

from __future__ import annotations

from bootwatch.judge.ground import Landing
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.steps import By, Candidate
from bootwatch.judge.systems import System


def starts_next(seen: Outlook, system: System) -> bool | None:
    """None where it can't be told: the firmware has a choice, something could not be read, or what starts is
    another system whose start menu leads on to this one."""
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


def _leads_on(seen: Outlook, system: System) -> bool:
    """Whether some start menu leads to the system: by itself, perhaps."""
    own = seen.by_key.get(system.key)
    return any(route.by is By.MENU and route.starts is not False for route in (own.routes if own else ()))


def _is_of(seen: Outlook, candidate: Candidate, system: System) -> bool | None:
    place = Landing(True, "", candidate.volume, candidate.file).place
    if place is None:
        return None
    owners = {one.system.key for one in seen.systems for route in one.routes if route.place == place}
    return system.key in owners if owners else None
