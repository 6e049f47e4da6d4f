"""Files that a start goes through: the loaders, and what each needs besides. Pure."""

from __future__ import annotations

from typing import Any

from bootwatch.judge.ground import Place
from bootwatch.judge.nouns import Nouns
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.steps import Route
from bootwatch.model.snapshot import State

_MOST = 60


def working_routes(now: Outlook) -> tuple[Route, ...]:
    """Every route that starts something on a volume, those through start menus too."""
    of_systems = (route for one in now.systems for route in one.routes)
    routes = (*now.startup.routes, *of_systems)
    return tuple(dict.fromkeys(route for route in routes if route.starts and route.volume and route.file))


def needed_places(routes: tuple[Route, ...]) -> tuple[Place, ...]:
    """What these go through, the loaders first."""
    loaders = (route.place for route in routes)
    besides = (place for route in routes for place in route.uses)
    return tuple(dict.fromkeys(place for place in (*loaders, *besides) if place))


def needed(state: State, now: Outlook) -> list[dict[str, Any]]:
    """The files that the systems which matter start from, but for texts that are kept with every snapshot;
    plain JSON values. ``where`` is the volume as a noun phrase, ``systems`` are the names of those."""
    found: dict[Place, list[str]] = {}
    for one in now.systems:
        if one.system.is_watched:
            for place in needed_places(tuple(one.working())):
                found.setdefault(place, []).append(one.name)
    nouns = Nouns(state, now)
    documents = []
    for (identity, folded), systems in found.items():
        volume = state.volumes.get(identity)
        file = volume.file(folded) if volume else None
        if volume and file and not file.is_folder and file.sha256 not in state.texts:
            where = nouns.volume(volume)
            named = {"volume": identity, "path": file.path, "where": where}
            documents.append({**named, "size": file.size, "systems": systems})
    return documents[:_MOST]
