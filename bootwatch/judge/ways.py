"""Routes as phrases."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.judge.outlook import Outlook
from bootwatch.judge.steps import By, Route


def way_phrase(route: Route) -> str:
    """A route as a noun phrase: what a person would look for."""
    if route.by is By.MENU:
        return f"the start menu of {route.through}"
    if route.entry:
        return entry_phrase(route.entry, route.label)
    return f"the default file {route.file}"


def entry_phrase(entry: str, label: str) -> str:
    """By its label, else by its name."""
    return f'the entry "{label}"' if label else f"the entry {entry}"


def as_before(before: Outlook, now: Outlook) -> str:
    """That all systems start which did, and how far that was followed; "" where that isn't so."""
    kept = []
    for former in before.systems:
        today = now.by_key.get(former.system.key)
        if former.system.hidden or not former.starts:
            continue
        if today is None or not today.starts:
            return ""
        kept.append(f"{today.name} (followed to its {depth(today.working())})")
    if not kept:
        return ""
    names = kept[0] if len(kept) == 1 else f"{', '.join(kept[:-1])} and {kept[-1]}"
    return f"No way to start a system is lost by it: {names} still start{'s' if len(kept) == 1 else ''}."


def depth(routes: Iterable[Route]) -> str:
    """How far the one of some routes was followed that was followed farthest."""
    return "kernel" if any(route.is_deep for route in routes) else "loader"
