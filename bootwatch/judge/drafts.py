"""A change before it gets its level, its sentence and its place in time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from bootwatch.judge.weigh import Weights
from bootwatch.model.change import Change
from bootwatch.model.level import Level

_DIGITS = 8


@dataclass(frozen=True)
class Draft:
    """One difference. ``identity`` says to what it happened, in whatever survives a reboot; ``path`` is the
    file's, where it is one. ``scope`` is the change's."""

    change: str
    identity: tuple[str, ...]
    what: str
    where: str
    system: str | None = None
    before: Any = None
    after: Any = None
    path: str = ""
    scope: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Consequence:
    """What a change means for the next switch-on, in one sentence. ``level`` None: the change's name decides.

    ``systems`` are those that it takes something from.
    """

    level: Level | None
    sentence: str
    systems: tuple[str, ...] = ()


Weigh = Callable[[Draft], Consequence]


def stable_id(name: str, identity: Iterable[str], repeated: int = 0) -> str:
    """The name and the first hex digits of the identity's digest; people and commands use it."""
    parts = [*identity, str(repeated)] if repeated else list(identity)
    return f"{name}:{hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:_DIGITS]}"


def finish(drafts: Iterable[Draft], weights: Weights, weigh: Weigh) -> tuple[Change, ...]:
    """Give each change its id, level and consequence; worst first, in the order found among equals."""
    seen: dict[str, int] = {}
    changes = [_finish_one(draft, weights, weigh, seen) for draft in drafts]
    return tuple(sorted(changes, key=lambda change: change.level.rank))


def _finish_one(draft: Draft, weights: Weights, weigh: Weigh, seen: dict[str, int]) -> Change:
    own = stable_id(draft.change, draft.identity)
    # Two equal entries that vanish at once are two changes.
    repeated = seen.get(own, 0)
    seen[own] = repeated + 1
    found = weigh(draft)
    system = draft.system if not found.systems or draft.system in found.systems else found.systems[0]
    return Change(
        id=stable_id(draft.change, draft.identity, repeated),
        change=draft.change,
        level=weights.level(draft.change, system, draft.path, found.level),
        system=system,
        what=draft.what,
        where=draft.where,
        scope=draft.scope,
        before=draft.before,
        after=draft.after,
        consequence=found.sentence,
    )
