"""What a situation expects, held against what was found: every difference as one line.

At the end everything is accounted for: changes above routine one by one, routine ones by name and number,
those accepted by rule apart, findings, and the message. In between only what is written counts, and where
nothing is written nobody may be told anything.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from bootwatch.model.change import Change
from bootwatch.model.level import Level
from tests.situations.play import Scene

_LEVELS = {level.value for level in Level}
_KEYS = ("changes", "routine", "accepted", "findings", "evidence", "message", "next start")
_OF_CHANGE = ("system", "while", "between", "of", "evidence", "accepted")


def differences(scene: Scene, is_last: bool) -> list[str]:
    """What is otherwise than expected; empty where all is as it should be."""
    said = dict(scene.expected or {})
    unknown = [f"nothing is known of {name!r} to expect" for name in said if name not in _KEYS]
    if is_last:
        said = {"changes": [], "routine": {}, "accepted": {}, "findings": {}, **said}
    said = {"message": "none", **said}
    checks = {
        "changes": _changes,
        "routine": _routine,
        "accepted": _accepted,
        "findings": _findings,
        "evidence": _evidence,
        "message": _message,
        "next start": _next_start,
    }
    found = [line for name, check in checks.items() if name in said for line in check(said[name], scene)]
    return [f"snapshot {scene.number}: {line}" for line in (*unknown, *found)]


# changes


def _changes(said: list[dict[str, Any]], scene: Scene) -> Iterator[str]:
    left = [change for change in scene.drift.changes if change.level is not Level.ROUTINE]
    for one in said:
        _, level = _name_and_level(one)
        pool = left if level != "routine" else list(scene.drift.changes)
        best = next((change for change in pool if not list(_wrong(one, change))), None)
        if best in left:
            left.remove(best)
        if best is None:
            near = [change for change in scene.drift.changes if change.change in one]
            why = "; ".join(", ".join(_wrong(one, change)) for change in near) or "there is none"
            yield f"expected {_spelled(one)}: {why}"
    for change in left:
        yield f"not expected: {change.change}: {change.level.value} ({change.system}, {change.what})"


def _name_and_level(said: dict[str, Any]) -> tuple[str, str]:
    pairs = [(name, level) for name, level in said.items() if name not in _OF_CHANGE]
    if len(pairs) != 1 or pairs[0][1] not in _LEVELS:
        raise ValueError(f"{said}: one change and its level, and {', '.join(_OF_CHANGE)}")
    return pairs[0]


def _spelled(said: dict[str, Any]) -> str:
    name, level = _name_and_level(said)
    return f"{name}: {level}" + (f" of {said['system']}" if said.get("system") else "")


def _wrong(said: dict[str, Any], change: Change) -> Iterator[str]:
    """How a change is otherwise than one that is expected."""
    name, level = _name_and_level(said)
    found = {
        "system": change.system,
        "while": change.custody.value,
        "between": list(change.between),
        "evidence": sorted({one.trace.value for one in change.evidence}),
        "accepted": bool(change.accepted),
    }
    wanted = {**said, "evidence": sorted(said["evidence"])} if "evidence" in said else said
    if (change.change, change.level.value) != (name, level):
        yield f"{change.change}: {change.level.value}"
    if said.get("of", "") not in f"{change.what}, {change.where}":
        yield f"it happened to {change.what}"
    yield from (
        f"{key} {found[key]}, not {wanted[key]}" for key in found if key in said and found[key] != wanted[key]
    )


def _listed(said: Any) -> Counter[str]:
    return Counter({name: int(count) for name, count in dict(said).items()})


def _routine(said: Any, scene: Scene) -> Iterator[str]:
    changes = [one for one in scene.drift.changes if one.level is Level.ROUTINE and not one.accepted]
    yield from _counted("routine", _listed(said), Counter(one.change for one in changes))


def _accepted(said: Any, scene: Scene) -> Iterator[str]:
    changes = [one for one in scene.drift.changes if one.accepted]
    for one in changes:
        if one.level is not Level.ROUTINE:
            yield f"{one.change} is accepted and {one.level.value}"
    yield from _counted("accepted", _listed(said), Counter(one.change for one in changes))


def _counted(what: str, said: Counter[str], found: Counter[str]) -> Iterator[str]:
    for name in sorted(said.keys() | found.keys()):
        if said[name] != found[name]:
            yield f"{what} {name}: {found[name]}, not {said[name]}"


# the rest


def _findings(said: Any, scene: Scene) -> Iterator[str]:
    levels = [(name, level) for name, held in dict(said).items() for level in _one_or_more(held)]
    wanted = Counter(levels)
    found = Counter((one.finding, one.level.value) for one in scene.drift.findings)
    for name, level in sorted((wanted - found).elements()):
        yield f"expected the finding {name}: {level}"
    for name, level in sorted((found - wanted).elements()):
        yield f"the finding {name}: {level} was not expected"


def _one_or_more(held: Any) -> list[str]:
    return [held] if isinstance(held, str) else list(held)


def _evidence(said: list[str], scene: Scene) -> Iterator[str]:
    """All traces that stand with any change."""
    found = {one.trace.value for change in scene.drift.changes for one in change.evidence}
    if found != set(said):
        yield f"evidence {sorted(found)}, not {sorted(said)}"


def _message(said: Any, scene: Scene) -> Iterator[str]:
    message = scene.message
    if isinstance(said, str) or message is None:
        kind = message.kind.value if message else "none"
        if said != kind:
            yield f"message {said}: it is {kind}, of {_news(scene)}"
        return
    if not isinstance(said, Mapping) or set(said) != {"level", "names"}:
        raise ValueError(f"{said}: a message has a level and the names of its news, or is called by its kind")
    level = message.worst_news.value if message.worst_news else None
    if level != said["level"] or _news(scene) != sorted(said["names"]):
        yield f"message {level} of {_news(scene)}, not {said['level']} of {sorted(said['names'])}"


def _news(scene: Scene) -> list[str]:
    message = scene.message
    if message is None:
        return []
    changes = [one.change for one in message.new_changes]
    return sorted([*changes, *(one.finding for one in message.new_findings)])


def _next_start(said: str, scene: Scene) -> Iterator[str]:
    if scene.next_start != said:
        yield f"{scene.next_start} starts next, not {said}"
