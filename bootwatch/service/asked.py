"""What a person asks of a restore, and what any plan says of what starts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from bootwatch.judge.outlook import Outlook
from bootwatch.judge.systems import Systems
from bootwatch.model.snapshot import Snapshot
from bootwatch.problem import UsageProblem
from bootwatch.recover.steps import Step, WriteFile

FORMAT = "bootwatch/restore-plan/1"

Document = dict[str, Any]


class Kind(StrEnum):
    """What sort of plan. The word is the same in JSON."""

    LOST = "what-was-lost"
    WITHOUT_BASELINE = "without-baseline"
    ADD_ROUTE = "add-route"
    TRIAL = "trial"


@dataclass(frozen=True)
class Asked:
    """The systems ``only`` by their names, if any are named; ``mapped`` as in ``relocated``; ``system`` is
    whose second route or trial it is; ``also`` are ids of changes to be undone though they took nothing
    away."""

    only: Sequence[str] = ()
    mapped: Mapping[str, str] = field(default_factory=dict)
    kind: Kind = Kind.LOST
    system: str = ""
    also: Sequence[str] = ()

    def words(self) -> list[str]:
        """The command's options that ask for it. Each in one word: a system may be called "--write"."""
        named = [f"--only={name}" for name in self.only]
        named += [f"--also={own}" for own in self.also]
        named += [f"--map={was}={now}" for was, now in self.mapped.items()]
        if self.kind is Kind.WITHOUT_BASELINE:
            named.append("--without-baseline")
        return named + ([f"--{self.kind.value}={self.system}"] if self.system else [])


def require_known(systems: Systems, names: Sequence[str]) -> None:
    """Raises UsageProblem for a name that no system has."""
    known = sorted({system.name for system in systems.all()})
    for name in names:
        if name not in known:
            raise UsageProblem(f"There is no system {name!r} here.", f"There are: {', '.join(known)}")


def plan_document(
    kind: Kind, machine: str, snapshot: Snapshot, steps: Sequence[Step], now: Outlook, then: Outlook
) -> Document:
    """What all plans say: whose, of which snapshot, the steps, what starts before and after them."""
    return {
        "format": FORMAT,
        "kind": kind.value,
        "machine": machine,
        "snapshot": snapshot.number,
        "time": snapshot.circumstance.time,
        "steps": [step.to_json() for step in steps],
        "system": "",
        "left": [],
        "moves": [],
        "questions": [],
        "volumes": {identity: volume.label for identity, volume in snapshot.state.volumes.items()},
        "now": _starts(now),
        "then": _starts(then),
        "gaps": [gap.to_json() for gap in snapshot.gaps],
        "dirty": _dirty(steps, snapshot),
    }


def _dirty(steps: Sequence[Step], snapshot: Snapshot) -> list[str]:
    """The volumes that get files and that nobody closed properly; mounted ones are never called so."""
    volumes = {step.volume for step in steps if isinstance(step, WriteFile)}
    return sorted(one for one in volumes if snapshot.circumstance.dirty.get(one))


def _starts(found: Outlook) -> Document:
    following = found.next_system
    return {
        "systems": [
            {"name": one.name, "how": one.how.value} for one in found.systems if not one.system.hidden
        ],
        "next": following.name if following else None,
        "by": found.next_start.by.value,
    }
