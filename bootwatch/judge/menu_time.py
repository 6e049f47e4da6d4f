"""How long a loader shows its start menu before it goes on by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator

from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.settings_text import LARGEST, decode
from bootwatch.judge.steps import Route
from bootwatch.model.path import fold, is_within
from bootwatch.model.variable import LOADER_INTERFACE, key
from bootwatch.model.volume import ENTRIES_FOLDER

# Elsewhere than in these two forms, 0 may as well mean that the menu waits for ever.
_SET = re.compile(r"^[ \t]*set[ \t]+timeout=(\S+)", re.MULTILINE)
_WORD = re.compile(r"^[ \t]*timeout[ \t]+(\S+)", re.MULTILINE)
# Boot Loader Interface: words in place of seconds; a menu that is hidden is not shown, whatever the time.
_NONE = frozenset({"0", "0.0", "menu-hidden", "menu-disabled"})
_ENTRIES_SETTINGS = "\\loader\\loader.conf"
_MOST_SHOWN = 60


def menu_not_waiting(scene: Scene, route: Route) -> str:
    """Where it says that the menu of the loader on a route is not waited for; "" where it is, or that isn't
    known. What the loader's variable says counts before its settings."""
    said = _by_variable(scene, route)
    if said is not None:
        return f"LoaderConfigTimeout = {said}" if said in _NONE else ""
    found = list(_by_settings(scene, route))
    # Settings may set it more than once, and which of them holds is told at the start.
    if found and all(time in _NONE for _, time in found):
        place, time = found[0]
        return f"{place}: timeout {time}"
    return ""


def _by_variable(scene: Scene, route: Route) -> str | None:
    """What the boot loader's own variable says, where this loader is known to use it."""
    circumstance = scene.circumstance
    variable = circumstance.variables.get(key("LoaderConfigTimeout", LOADER_INTERFACE))
    if variable is None or not route.partition or circumstance.loader_partition != route.partition:
        return None
    return variable.data.decode("utf-16-le", "replace").partition("\0")[0].strip()[:_MOST_SHOWN].lower()


def _by_settings(scene: Scene, route: Route) -> Iterator[tuple[str, str]]:
    """Every time that the settings name on which the route goes by, with its place."""
    places = dict.fromkeys(route.uses, _SET)
    if route.volume and any(is_within(path, ENTRIES_FOLDER) for _, path in places):
        places[route.volume, fold(_ENTRIES_SETTINGS)] = _WORD
    for (volume, path), pattern in places.items():
        file = scene.state.file(volume, path)
        text = scene.state.texts.get(file.sha256 or "", b"") if file else b""
        if file and text and not file.program:
            for match in pattern.finditer(decode(text[:LARGEST])):
                yield f"{plain(volume)}, {file.path}", match[1].strip("\"';")[:_MOST_SHOWN].lower()
