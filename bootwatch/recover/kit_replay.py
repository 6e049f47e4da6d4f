"""A recovery kit tried on a snapshot: after every rehearsed loss, would what it puts back start all? Pure.

What can't be told stays unknown: whether Secure Boot takes a copy is not looked at, so where it is on and a
program has to come back, nobody is promised anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from bootwatch.judge.altered import usual
from bootwatch.judge.drift import compare
from bootwatch.judge.losses import Kind, Loss, losses_of
from bootwatch.judge.outlook import Outlook, SystemOutlook, outlook
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Naming, System
from bootwatch.judge.weigh import Weights
from bootwatch.keep.baseline import Baseline
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.steps import WriteFile
from bootwatch.recover.undoing import HasCopy

_MOST = 90
_TODAY = "today", "nothing: the machine as it is", ""
_SECURE = b"\x01"
_NOT_LOOKED_AT = "Secure Boot is on, and whether it takes the kit's copies is not looked at"
_FORMATTED = "once its partition has a new FAT file system"


@dataclass(frozen=True)
class Replayed:
    """One loss, or none for the machine as it is: what the kit makes of it. ``back``: whether every system
    starts again; ``why`` is a clause where it doesn't, or it can't be told, ``first`` what a person has to
    do before; both may carry hostile characters. ``steps`` counts what would be written."""

    kind: str
    what: str
    where: str
    back: bool | None
    why: str
    first: str
    steps: int

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))

    @property
    def is_failure(self) -> bool:
        """Whether the kit should have brought all back: a disk that is gone is beyond any kit."""
        return self.back is False and self.kind != Kind.DISK.value


@dataclass(frozen=True)
class Replay:
    """The kit's ``baseline`` and copies, tried on one snapshot."""

    baseline: Baseline
    has_copy: HasCopy
    snapshot: Snapshot
    names: Naming
    weights: Weights

    def all(self) -> Iterator[Replayed]:
        """As it is today first, then every loss."""
        yield self._told(_TODAY, self._plan(self._state))
        for loss in losses_of(self._state, self._outlook(self._state), most=_MOST).all:
            yield self._tried(loss)

    @cached_property
    def _state(self) -> State:
        return usual(self.snapshot.state)

    @cached_property
    def _sides(self) -> Sides:
        return self._sides_of(self._state)

    def _sides_of(self, state: State) -> Sides:
        gaps = self.baseline.gaps, self.snapshot.gaps
        return Sides(self.baseline.state, state, *gaps, self.names, self.snapshot.circumstance)

    def _outlook(self, state: State) -> Outlook:
        return outlook(state, self.snapshot.gaps, self._sides.systems)

    @cached_property
    def _wanted(self) -> list[System]:
        """What started when the baseline was saved."""
        before = outlook(usual(self.baseline.state), self.baseline.gaps, self._sides.systems)
        return [one.system for one in before.systems if one.system.is_watched and one.starts]

    # one loss

    def _tried(self, loss: Loss) -> Replayed:
        named = loss.kind.value, loss.what, loss.where
        found = self._plan(loss.apply(self._state))
        if loss.kind is Kind.VOLUME and self._verdict(found)[0] is False:
            fresh = self._plan(_formatted(self._state, loss.where))
            if self._verdict(fresh)[0] is not False:
                return self._told(named, fresh, _FORMATTED)
        return self._told(named, found)

    def _told(self, named: tuple[str, str, str], found: Plan, first: str = "") -> Replayed:
        back, why = self._verdict(found)
        return Replayed(*named, back, why, first, len(found.steps))

    def _plan(self, state: State) -> Plan:
        snapshot = replace(self.snapshot, state=state)
        sides = self._sides_of(state)
        compared = compare(
            self.baseline.state, self.baseline.gaps, snapshot, weights=self.weights, names=self.names
        )
        return plan(sides, snapshot, compared.drift, self.has_copy, weights=self.weights)

    def _verdict(self, found: Plan) -> tuple[bool | None, str]:
        after = {system.key: found.then.by_key.get(system.key) for system in self._wanted}
        lost = [system.name for system in self._wanted if _starts(after[system.key]) is False]
        if lost:
            whys = dict.fromkeys(one.why for one in found.left)
            said = f": {'; '.join(list(whys)[:2])}" if whys else ""
            return False, f"{', '.join(lost)} would not start{said}"
        open_ones = [system.name for system in self._wanted if _starts(after[system.key]) is None]
        if open_ones:
            return None, f"whether {', '.join(open_ones)} would start can't be told"
        is_secure = (variable := self._state.variable("SecureBoot")) and variable.data == _SECURE
        if is_secure and any(isinstance(step, WriteFile) and step.file.program for step in found.steps):
            return None, _NOT_LOOKED_AT
        return True, ""


def _starts(one: SystemOutlook | None) -> bool | None:
    return one.starts if one else False


def _formatted(state: State, identity: str) -> State:
    """With the volume there and nothing on it, as after a new file system was made."""
    held = state.volumes.get(identity)
    if held is None:
        return state
    return replace(state, volumes={**state.volumes, identity: replace(held, files={}, serial=None)})
