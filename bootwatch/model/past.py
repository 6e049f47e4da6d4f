"""What the recorded snapshots show together and a single one can't."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bootwatch.model.snapshot import Circumstance

# A file: its volume's identity without a clone's address, and its folded path without a count of tries.
Spot = tuple[str, str]


@dataclass(frozen=True)
class Unkept:
    """What a restore wrote and what is since the next start as it was before: ``things`` as noun phrases,
    ``restore`` says which restore."""

    restore: str
    things: tuple[str, ...]


@dataclass(frozen=True)
class Past:
    """What is known from the history; empty where there is none.

    ``volatile`` are files whose content changes at many starts, ``changed_in`` the snapshot in which a file's
    content last differed from the one before, ``restless`` volumes that came and went more than once.
    ``stop`` is the last snapshot of the start before this one, ``begin`` the first of this start.
    ``unkept`` is what did not last of the last restore.
    """

    volatile: frozenset[Spot] = frozenset()
    changed_in: Mapping[Spot, int] = field(default_factory=dict)
    restless: frozenset[str] = frozenset()
    stop: Circumstance | None = None
    begin: Circumstance | None = None
    unkept: Unkept | None = None


NO_PAST = Past()
