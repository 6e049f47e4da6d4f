"""What a lost or altered file leaves unknown: whether a loader that is still there finds its kernel."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.drafts import Consequence, Draft
from bootwatch.judge.lost_ways import uses
from bootwatch.judge.outlook import Outlook, SystemOutlook
from bootwatch.judge.sides import Sides
from bootwatch.judge.steps import Route
from bootwatch.model.level import Level
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File


def lost_sight(before: Outlook, now: Outlook, sides: Sides, draft: Draft) -> Consequence | None:
    """What to say where a file went that a start was followed through; None where nothing got less known."""
    if not draft.change.startswith(("loader-", "file-")):
        return None
    for former in before.systems:
        if former.system.hidden or not any(_went_by(former, draft)):
            continue
        name, today = former.name, now.by_key.get(former.system.key)
        if today is not None and today.starts and not any(_deep(today)):
            said = f"{name} was followed to its kernel before and can be followed only to its loader now"
            return _unknown(f"{said}: whether it still starts can't be told.", name)
        if was_program(sides, draft) and _is_needed(sides, draft, today):
            return _unknown(f"{name} started by it, and its start menu still names it.", name)
    return None


def _is_needed(sides: Sides, draft: Draft, today: SystemOutlook | None) -> bool:
    """Whether a program that is none any more is still asked for: an update that puts another one in its
    place also changes what names it."""
    if _is_program(_file(sides.now, draft)):
        return False
    is_replaced = draft.change.endswith("-missing") and today is not None and any(_deep(today))
    return not is_replaced or _is_named(sides.now, draft.path)


def _is_named(state: State, path: str) -> bool:
    """Whether a text on a boot volume names a file: by its name and the folder that it lies in."""
    name = fold("/".join(path.split("\\")[-2:]).lstrip("/"))
    return any(name in fold(text.decode("latin-1")).replace("\\", "/") for text in state.texts.values())


def was_program(sides: Sides, draft: Draft) -> bool:
    """Whether the file of a change was a program in the baseline."""
    return _is_program(_file(sides.before, draft))


def _unknown(sentence: str, system: str) -> Consequence:
    return Consequence(Level.WEAKENED, sentence, (system,))


def _went_by(former: SystemOutlook, draft: Draft) -> Iterator[Route]:
    volume = str(draft.scope.get("volume"))
    return (route for route in _deep(former) if uses(route, volume, draft.path))


def _deep(one: SystemOutlook) -> Iterator[Route]:
    return (route for route in one.working() if route.is_deep)


def _file(state: State, draft: Draft) -> File | None:
    return state.file(str(draft.scope.get("volume")), draft.path)


def _is_program(file: File | None) -> bool:
    return bool(file and file.program)
