"""A recovery kit tried on a snapshot: after every rehearsed loss, would what it puts back start all? Pure.

What Secure Boot, as it is set today, would refuse brings nothing back, and what can't be told stays unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from bootwatch.judge.altered import usual, without_file
from bootwatch.judge.drift import compare
from bootwatch.judge.losses import Kind, Loss, losses_of
from bootwatch.judge.outlook import Outlook, SystemOutlook, outlook
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Naming, System
from bootwatch.judge.trust import SecureBoot, Verdict
from bootwatch.judge.weigh import Weights
from bootwatch.keep.baseline import Baseline
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.trusted import Content, FileTrust, Trusted, of_verdict
from bootwatch.recover.undoing import HasCopy

_MOST = 90
_TODAY = "today", "nothing: the machine as it is", ""
_REFUSED = "Secure Boot, as it is set today, would refuse {path}"
_UNSURE = "whether Secure Boot takes {path} can't be told"
_FORMATTED = "once its partition has a new FAT file system"


@dataclass(frozen=True)
class Replayed:
    """One loss, or none for the machine as it is: what the kit makes of it. ``back``: whether every system
    starts again; ``why`` is a clause where it doesn't, or it can't be told, ``first`` what a person has to
    do before; both may carry hostile characters. ``steps`` counts what would be written; ``doubtful`` are
    programs among it, and among what the machine starts, that Secure Boot refuses as it is set today, or may
    refuse."""

    kind: str
    what: str
    where: str
    back: bool | None
    why: str
    first: str
    steps: int
    doubtful: tuple[FileTrust, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {**vars(self), "doubtful": [one.to_json() for one in self.doubtful]}

    @property
    def is_failure(self) -> bool:
        """Whether the kit should have brought all back: a disk that is gone is beyond any kit."""
        return self.back is False and self.kind != Kind.DISK.value


@dataclass(frozen=True)
class Replay:
    """The kit's ``baseline`` and copies, tried on one snapshot; ``content`` hands out what it has of them."""

    baseline: Baseline
    has_copy: HasCopy
    content: Content
    snapshot: Snapshot
    names: Naming
    weights: Weights

    def all(self) -> Iterator[Replayed]:
        """As it is today first, then every loss."""
        yield self._trial(self._state).told(_TODAY)
        for loss in losses_of(self._state, self._outlook(self._state), most=_MOST).all:
            yield self._tried(loss)

    @cached_property
    def secure(self) -> SecureBoot:
        """As it is set today."""
        return SecureBoot.of(self.snapshot.state, self.snapshot.gaps)

    @cached_property
    def _trusted(self) -> Trusted:
        return Trusted(self.secure, self.content)

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
        lost = self._trial(loss.apply(self._state))
        if loss.kind is Kind.VOLUME and lost.back is False:
            fresh = self._trial(_formatted(self._state, loss.where))
            if fresh.back is not False:
                return fresh.told(named, _FORMATTED)
        return lost.told(named)

    def _trial(self, state: State) -> _Trial:
        found = self._plan(state)
        back, why = self._starting(found, found.then)
        return self._trusting(found) if back else _Trial(found, back, why)

    def _plan(self, state: State) -> Plan:
        snapshot = replace(self.snapshot, state=state)
        sides = self._sides_of(state)
        compared = compare(
            self.baseline.state, self.baseline.gaps, snapshot, weights=self.weights, names=self.names
        )
        return plan(sides, snapshot, compared.drift, self.has_copy, weights=self.weights)

    def _starting(self, found: Plan, then: Outlook) -> tuple[bool | None, str]:
        after = {system.key: then.by_key.get(system.key) for system in self._wanted}
        lost = [system.name for system in self._wanted if _starts(after[system.key]) is False]
        if lost:
            own = [one for one in found.left if one.change.system in lost]
            whys = dict.fromkeys(one.why for one in own or found.left)
            said = f": {'; '.join(list(whys)[:2])}" if whys else ""
            return False, f"{', '.join(lost)} would not start{said}"
        open_ones = [system.name for system in self._wanted if _starts(after[system.key]) is None]
        if open_ones:
            return None, f"whether {', '.join(open_ones)} would start can't be told"
        return True, ""

    def _trusting(self, found: Plan) -> _Trial:
        """Whether all start even without the programs that Secure Boot refuses, or may refuse."""
        written = self._trusted.of_steps(found.steps, found.state, found.then)
        files = {**self._trusted.of_started(found.state, found.then), **written}.values()
        refused, unsure = of_verdict(files, Verdict.REFUSED), of_verdict(files, Verdict.UNKNOWN)
        doubtful = (*refused, *unsure)
        # What only the loss itself puts somewhere is no spare, and nothing that is there today.
        named = tuple(one for one in doubtful if one in written.values() or self._is_there(one))
        if refused and not self._start_without(found, refused):
            return _Trial(found, False, _said(_REFUSED, refused), named)
        if unsure and not self._start_without(found, doubtful):
            return _Trial(found, None, _said(_UNSURE, unsure), named)
        return _Trial(found, True, "", named)

    def _is_there(self, one: FileTrust) -> bool:
        return self._state.file(one.volume, one.path) is not None

    def _start_without(self, found: Plan, files: Sequence[FileTrust]) -> bool:
        left = found.state
        for one in files:
            left = without_file(left, one.volume, one.path)
        return bool(self._starting(found, self._outlook(usual(left)))[0])


@dataclass(frozen=True)
class _Trial:
    """What the kit makes of one state."""

    plan: Plan
    back: bool | None
    why: str
    doubtful: tuple[FileTrust, ...] = ()

    def told(self, named: tuple[str, str, str], first: str = "") -> Replayed:
        return Replayed(*named, self.back, self.why, first, len(self.plan.steps), self.doubtful)


def _said(text: str, files: Sequence[FileTrust]) -> str:
    return text.format(path=files[0].path)


def _starts(one: SystemOutlook | None) -> bool | None:
    return one.starts if one else False


def _formatted(state: State, identity: str) -> State:
    """With the volume there and nothing on it, as after a new file system was made."""
    held = state.volumes.get(identity)
    if held is None:
        return state
    return replace(state, volumes={**state.volumes, identity: replace(held, files={}, serial=None)})
