"""Carrying steps out: all is looked at and kept first, then each is written and read back; the first surprise
ends it.

What lies at a step's place is one value: for a file the SHA-256 of its content, for a variable its attributes
and bytes, None for nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from bootwatch.judge.entries import variable_of
from bootwatch.model.path import fold
from bootwatch.model.variable import Variable, key
from bootwatch.observe.machine import Machine, detail_of
from bootwatch.problem import Problem
from bootwatch.recover.record import Done, Record
from bootwatch.recover.room import Room
from bootwatch.recover.steps import (
    KEPT,
    ClearNext,
    SetNext,
    SetType,
    Step,
    WriteEntry,
    WriteFile,
    WriteOrder,
    from_json,
)
from bootwatch.recover.table import read_type, write_type
from bootwatch.recover.unhurried import unhurried
from bootwatch.recover.variables import VariableStore
from bootwatch.recover.volumes import opened

Copy = Callable[[str], bytes]
"""The content with that SHA-256. Raises Problem where no copy of it was kept."""

There = str | Variable | None

_ORDER, _NEXT = key("BootOrder"), key("BootNext")


class Stopped(Problem):
    """Something was otherwise than expected in the middle of restore ``number``: ``done`` was written, or
    taken back, and ``left`` was not."""

    status = 1

    def __init__(self, number: int, steps: Sequence[Step], done: int, at: int, problem: Problem) -> None:
        super().__init__(f"Stopped at this step: {steps[at].what}. {problem.message}", problem.hint)
        self.number, self.done, self.left = number, tuple(steps[:done]), tuple(steps[done:])


@dataclass(frozen=True)
class Taken:
    """Steps that were taken back, and those that stay since somebody changed it meanwhile."""

    back: tuple[Step, ...]
    stay: tuple[Step, ...]


@dataclass
class Writer:
    """Carries steps out on one machine, and takes them back."""

    machine: Machine
    copy: Copy
    record: Record

    def prepare(self, steps: Sequence[Step]) -> None:
        """Look at all that will be written and keep it in the record. What is as it should be is left out.

        Raises Problem, and nothing was written.
        """
        try:
            self._prepare(steps)
        except OSError as error:
            raise Problem(f"{detail_of(error)}{_of(error)}.") from error

    def carry_out(self) -> None:
        """Write what was prepared. Raises Stopped; the record tells what was done."""
        steps = [from_json(done.step) for done in self.record.done]
        with unhurried() as asked:
            for place, (step, done) in enumerate(zip(steps, self.record.done, strict=True)):
                try:
                    asked.require_quiet()
                    self._write(step, done)
                except (Problem, OSError) as error:
                    written = place + done.is_done
                    raise Stopped(self.record.number, steps, written, place, _as_problem(error)) from error
            self.record.document["finished"] = True
            self._save()

    def undo(self) -> Taken:
        """Take the record's steps back, the last one first. What somebody changed since stays. Raises
        Problem where nothing was written, Stopped in the middle."""
        try:
            todo, stay = self._looked_back()
        except OSError as error:
            raise Problem(f"{detail_of(error)}{_of(error)}.") from error
        steps = [step for step, _ in todo]
        with unhurried() as asked:
            for place, (step, former) in enumerate(todo):
                try:
                    asked.require_quiet()
                    self._put_back(step, former)
                except (Problem, OSError) as error:
                    raise Stopped(self.record.number, steps, place, place, _as_problem(error)) from error
            self._remove_folders()
            self.record.document["undone"] = True
            self._save()
        return Taken(tuple(steps), tuple(stay))

    # beforehand

    def _prepare(self, steps: Sequence[Step]) -> None:
        room = Room(self.machine)
        coming: dict[tuple[str, str], There] = {}
        chosen = []
        for step in steps:
            target = _target(step)
            former = coming[target] if target in coming else self._now(step)
            wanted = _wanted(step, former)
            if former == wanted:
                continue
            if not _is_expected(step, former):
                raise Problem(f"It is no longer as it was looked at: {step.what}.", "Run it once more.")
            coming[target] = wanted
            if isinstance(step, WriteFile):
                room.need_file(step.volume, step.file.path, len(self.copy(step.file.sha256 or "")))
            elif isinstance(step, SetType):
                room.need_type(step.volume)
            else:
                room.need_variable(_variable(step), wanted)
            chosen.append((step, former))
        room.require()
        self.record.done = [
            Done(step.to_json(), self._keep(step, former), room.folders(step)) for step, former in chosen
        ]
        self.record.save()

    def _looked_back(self) -> tuple[list[tuple[Step, There]], list[Step]]:
        room, todo, stay = Room(self.machine), [], []
        coming: dict[tuple[str, str], There] = {}
        for done in reversed(self.record.done):
            step, former = _step(done), _former(done.former)
            target = _target(step)
            now = coming[target] if target in coming else self._now(step)
            if isinstance(step, WriteFile):
                room.sweep(step.volume, step.file.path)
            if now == former:
                continue
            if now not in (None, _wanted(step, former), _former(done.read_back)):
                stay.append(step)
                continue
            coming[target] = former
            if isinstance(step, WriteFile):
                size = len(self.record.kept(former)) if isinstance(former, str) else 0
                room.need_file(step.volume, step.file.path, size)
            elif isinstance(step, SetType):
                room.need_type(step.volume)
            else:
                room.need_variable(_variable(step), former)
            todo.append((step, former))
        room.require()
        return todo, stay

    # one step

    def _write(self, step: Step, done: Done) -> None:
        former = _former(done.former)
        wanted = _wanted(step, former)
        if self._now(step) != former:
            raise Problem("Somebody changed it meanwhile.", "Run it once more.")
        self._put(step, wanted, self.copy)
        found = self._now(step)
        if found != wanted:
            done.read_back = _stored(found)
            self._save()
            raise Problem("It was written, and reads back otherwise.")
        done.is_done = True
        self._save()

    def _put_back(self, step: Step, former: There) -> None:
        self._put(step, former, self.record.kept)
        if self._now(step) != former:
            raise Problem("It was written, and reads back otherwise.")

    def _remove_folders(self) -> None:
        """Those that were made and in which nothing lies any more."""
        for done in reversed(self.record.done):
            step = _step(done)
            if isinstance(step, WriteFile) and done.folders:
                with opened(self.machine, step.volume) as shelf, contextlib.suppress(OSError, Problem):
                    for folder in reversed(done.folders):
                        shelf.remove_folder(folder)

    def _save(self) -> None:
        """What was done is worth more than that it could be written down."""
        try:
            self.record.save()
        except OSError as error:
            raise Problem(
                f"It was written, and can't be recorded in {self.record.folder}: {detail_of(error)}.",
                "Make room there, and run it once more.",
            ) from error

    # what is there

    def _now(self, step: Step) -> There:
        if isinstance(step, SetType):
            return read_type(self.machine, step.volume)
        if not isinstance(step, WriteFile):
            return VariableStore(self.machine).read(_variable(step))
        content = self._content(step)
        return None if content is None else hashlib.sha256(content).hexdigest()

    def _content(self, step: WriteFile) -> bytes | None:
        with opened(self.machine, step.volume) as shelf:
            return shelf.read(step.file.path)

    def _put(self, step: Step, wanted: There, copy: Copy) -> None:
        if isinstance(step, WriteFile):
            with opened(self.machine, step.volume) as shelf:
                if isinstance(wanted, str):
                    shelf.write(step.file.path, copy(wanted))
                else:
                    shelf.remove(step.file.path)
        elif isinstance(step, SetType):
            write_type(self.machine, step.volume, str(wanted))
        elif isinstance(wanted, Variable):
            VariableStore(self.machine).write(_variable(step), wanted)
        else:
            VariableStore(self.machine).remove(_variable(step))

    def _keep(self, step: Step, former: There) -> Any:
        if not isinstance(step, WriteFile) or not isinstance(former, str):
            return _stored(former)
        content = self._content(step)
        if content is None or self.record.keep(content) != former:
            raise Problem(f"It changed while it was looked at: {step.what}.", "Run it once more.")
        return former


def _wanted(step: Step, former: There) -> There:
    attributes = former.attributes if isinstance(former, Variable) else KEPT
    match step:
        case WriteFile():
            return step.file.sha256
        case SetType():
            return step.type
        case WriteEntry() | SetNext():
            return Variable(attributes, step.data)
        case WriteOrder():
            return Variable(attributes, _packed(step.order))
        case ClearNext():
            return None


def _is_expected(step: Step, former: There) -> bool:
    data = former.data if isinstance(former, Variable) else None
    match step:
        case WriteFile() | SetType():
            return (former or "") == step.over
        case WriteEntry() | SetNext():
            return data == step.over
        case WriteOrder():
            # An odd byte at the end is no number to anybody, and keeps nothing from being mended.
            return (data or b"")[: len(data or b"") // 2 * 2] == _packed(step.over)
        case ClearNext():
            return data == step.over


def _target(step: Step) -> tuple[str, str]:
    if isinstance(step, WriteFile):
        return step.volume, fold(step.file.path)
    if isinstance(step, SetType):
        return step.target
    return "", _variable(step)


def _variable(step: WriteEntry | WriteOrder | ClearNext | SetNext) -> str:
    match step:
        case WriteEntry():
            return variable_of(step.number)
        case WriteOrder():
            return _ORDER
        case ClearNext() | SetNext():
            return _NEXT


def _packed(order: Sequence[int]) -> bytes:
    return b"".join(struct.pack("<H", number) for number in order)


# a record's values


def _stored(found: There) -> Any:
    return found.to_json() if isinstance(found, Variable) else found


def _former(stored: Any) -> There:
    """Raises Problem for what no restore wrote."""
    try:
        if isinstance(stored, dict):
            variable = Variable.from_json(stored)
            struct.pack("<I", variable.attributes)
            return variable
    except (KeyError, TypeError, ValueError, struct.error) as error:
        raise Problem(f"The restore's record can't be used: {error}. Nothing was written.") from error
    if stored is None or isinstance(stored, str):
        return stored
    raise Problem(f"The restore's record can't be used: {stored!r}. Nothing was written.")


def _step(done: Done) -> Step:
    try:
        return from_json(done.step)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise Problem(f"The restore's record can't be used: {error}. Nothing was written.") from error


def _as_problem(error: Problem | OSError) -> Problem:
    if isinstance(error, Problem):
        return error
    return Problem(f"Writing failed: {detail_of(error)}{_of(error)}.")


def _of(error: OSError) -> str:
    return f" ({error.filename})" if error.filename else ""
