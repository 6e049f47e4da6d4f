"""Carrying steps out: what is there is kept first, each write is read back, the first surprise ends it."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from bootwatch.judge.entries import variable_of
from bootwatch.model.variable import Variable, key
from bootwatch.observe.machine import Machine, detail_of
from bootwatch.problem import Problem
from bootwatch.recover.record import Done, Record
from bootwatch.recover.steps import KEPT, ClearNext, Step, WriteEntry, WriteFile, WriteOrder, from_json
from bootwatch.recover.variables import VariableStore
from bootwatch.recover.volumes import opened

Copy = Callable[[str], bytes]
"""The content with that SHA-256. Raises Problem where no copy of it was kept."""

_ORDER, _NEXT = key("BootOrder"), key("BootNext")


class Stopped(Problem):
    """Something was otherwise than expected; ``done`` steps were carried out before."""

    def __init__(self, done: int, step: Step, problem: Problem) -> None:
        super().__init__(f"Stopped at this step: {step.what}. {problem.message}", problem.hint)
        self.done = done


@dataclass
class Writer:
    """Carries steps out on one machine, and takes them back."""

    machine: Machine
    copy: Copy
    record: Record

    def carry_out(self, steps: Sequence[Step]) -> None:
        """Raises Stopped, with the machine as it was left, and the record telling what was done."""
        for place, step in enumerate(steps):
            try:
                self._do(step)
            except Problem as problem:
                raise Stopped(place, step, problem) from problem
            except OSError as error:
                raise Stopped(place, step, Problem(f"Writing failed: {detail_of(error)}.")) from error

    def undo(self) -> list[Step]:
        """Take the record's steps back, the last one first; those that were. Raises Stopped."""
        taken: list[Step] = []
        for done in reversed(self.record.done):
            step = from_json(done.step)
            try:
                if self._take_back(step, done):
                    taken.append(step)
            except Problem as problem:
                raise Stopped(len(taken), step, problem) from problem
            except OSError as error:
                raise Stopped(len(taken), step, Problem(f"Writing failed: {detail_of(error)}.")) from error
        self.record.document["undone"] = True
        self.record.save()
        return taken

    # one step

    def _do(self, step: Step) -> None:
        former = self._now(step)
        wanted = self._wanted(step, former)
        if former == wanted:
            return
        if not self._is_expected(step, former):
            raise Problem("It is no longer as it was looked at.", "Nothing else was written; look again.")
        done = Done(step.to_json(), self._keep(former))
        self.record.done.append(done)
        self.record.save()
        self._put(step, wanted)
        if self._now(step) != wanted:
            raise Problem("It was written, and reads back otherwise.", "See: bootwatch restore --undo")
        done.is_done = True
        self.record.save()

    def _take_back(self, step: Step, done: Done) -> bool:
        now = self._now(step)
        former = self._kept(done.former)
        if now == former:
            return False
        if now != self._wanted(step, former):
            raise Problem("It was changed by somebody else since; it stays as it is.")
        self._put(step, former)
        if self._now(step) != former:
            raise Problem("It was written, and reads back otherwise.")
        return True

    def _is_expected(self, step: Step, former: bytes | Variable | None) -> bool:
        match step:
            case WriteFile():
                return _digest(former) == step.over
            case WriteEntry():
                return (former.data if isinstance(former, Variable) else None) == step.over
            case WriteOrder():
                return (former.data if isinstance(former, Variable) else b"") == _packed(step.over)
            case ClearNext():
                return isinstance(former, Variable) and former.data == step.over

    def _wanted(self, step: Step, former: bytes | Variable | None) -> bytes | Variable | None:
        attributes = former.attributes if isinstance(former, Variable) else KEPT
        match step:
            case WriteFile():
                return self.copy(step.file.sha256 or "")
            case WriteEntry():
                return Variable(attributes, step.data)
            case WriteOrder():
                return Variable(attributes, _packed(step.order))
            case ClearNext():
                return None

    # what is there

    def _now(self, step: Step) -> bytes | Variable | None:
        if isinstance(step, WriteFile):
            with opened(self.machine, step.volume) as shelf:
                return shelf.read(step.file.path)
        return VariableStore(self.machine).read(_variable(step))

    def _put(self, step: Step, wanted: bytes | Variable | None) -> None:
        if isinstance(step, WriteFile):
            if not isinstance(wanted, Variable):
                self._put_file(step, wanted)
        elif isinstance(wanted, Variable):
            VariableStore(self.machine).write(_variable(step), wanted)
        else:
            VariableStore(self.machine).remove(_variable(step))

    def _put_file(self, step: WriteFile, content: bytes | None) -> None:
        with opened(self.machine, step.volume) as shelf:
            if content is None:
                shelf.remove(step.file.path)
                return
            room = shelf.free_bytes()
            if len(content) > room:
                raise Problem(f"The boot volume has no room: {len(content)} bytes, and {room} are free.")
            shelf.write(step.file.path, content)

    # what was there

    def _keep(self, former: bytes | Variable | None) -> Any:
        if isinstance(former, Variable):
            return former.to_json()
        return None if former is None else self.record.keep(former)

    def _kept(self, former: Any) -> bytes | Variable | None:
        if isinstance(former, dict):
            return Variable.from_json(former)
        return None if former is None else self.record.kept(str(former))


def _variable(step: WriteEntry | WriteOrder | ClearNext) -> str:
    match step:
        case WriteEntry():
            return variable_of(step.number)
        case WriteOrder():
            return _ORDER
        case ClearNext():
            return _NEXT


def _digest(former: bytes | Variable | None) -> str:
    return hashlib.sha256(former).hexdigest() if isinstance(former, bytes) else ""


def _packed(order: Sequence[int]) -> bytes:
    return b"".join(struct.pack("<H", number) for number in order)
