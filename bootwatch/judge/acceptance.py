"""What is expected, and so recorded and told to nobody: each system's own updates of its own files.

Nothing that takes a way of starting away is accepted: that has a level above `changed`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bootwatch.judge.evidence import Span, packages_sentence
from bootwatch.judge.system import System
from bootwatch.judge.systems import Systems
from bootwatch.judge.weigh import Weights
from bootwatch.model.change import Change, Custody
from bootwatch.model.level import Level
from bootwatch.model.snapshot import State

_OWN = ("entry-", "order-", "loader-", "file-")
_FILES = ("loader-", "file-")


@dataclass(frozen=True)
class Rules:
    """``most`` is the highest level that is accepted; ``weights`` are the levels that the settings move:
    where they name a change, no rule holds for it."""

    most: Level = Level.CHANGED
    weights: Weights = field(default_factory=Weights)


@dataclass(frozen=True)
class Known:
    """``systems`` of both sides, the present ``state``; ``started`` are the names of systems that are proven
    to have started since the change, ``before`` those that the baseline knows a way to."""

    systems: Systems
    state: State
    started: frozenset[str] = frozenset()
    before: frozenset[str] = frozenset()


def settled(change: Change, span: Span, rules: Rules, known: Known) -> Change:
    """The change, expected where a rule says so."""
    if not rules.most.at_least(change.level) or rules.weights.names(change):
        return change
    if _is_own_update(change, span, known.systems.running()):
        said = f"It belongs to this system's own update. {packages_sentence(span.packages)}"
        return replace(change, level=Level.ROUTINE, accepted=said)
    if _is_others_own(change, span, known):
        return _of_another(change, known)
    return change


def _is_own_update(change: Change, span: Span, running: System | None) -> bool:
    if not span.packages or span.custody is Custody.ELSEWHERE or running is None:
        return False
    return change.change.startswith(_OWN) and change.system in (running.name, None)


def _is_others_own(change: Change, span: Span, known: Known) -> bool:
    """Whether another system changed what is its own, and what lies there now is its own too."""
    running = known.systems.running()
    if span.custody is Custody.HERE or change.system is None or not change.change.startswith(_FILES):
        return False
    if span.unseen_starts == 0:  # it was not running: somebody else wrote its files
        return False
    if running is None or change.system == running.name or change.system not in known.before:
        return False
    volume, path = str(change.scope.get("volume")), str(change.scope.get("path"))
    return known.systems.of_file(volume, path, known.state) == change.system


def _of_another(change: Change, known: Known) -> Change:
    running = known.systems.running()
    both = {change.system, running.name if running else None}
    if both <= known.started:
        said = f"{change.system} changed its own files while it had the machine; both systems started since."
        return replace(change, level=Level.ROUTINE, accepted=said)
    if change.level is Level.ROUTINE:
        return change
    said = f"{change.system} changed its own loader, as an update does; it is not proven yet that it starts."
    return replace(change, level=Level.ROUTINE, consequence=said)
