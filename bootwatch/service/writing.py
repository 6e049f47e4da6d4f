"""What an administrator's command writes: a restore carried out or taken back, each step on record."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

from bootwatch.keep import baseline as baselines
from bootwatch.observe.machine import Machine, detail_of
from bootwatch.observe.snapshot import utc_now
from bootwatch.places import Places
from bootwatch.problem import Problem, UsageProblem
from bootwatch.recover.carry_out import Copy, Stopped, Writer
from bootwatch.recover.record import Record, alone
from bootwatch.recover.steps import Step, from_json
from bootwatch.service.handed_plan import require_plan
from bootwatch.tell.journal import announce_restore
from bootwatch.tell.plain import plain

_LOG_LINE = 4000
_MOST = 64 << 20  # bytes of a plan
_BOOT_ID = "proc/sys/kernel/random/boot_id"

Document = dict[str, Any]


@dataclass(frozen=True)
class TakenBack:
    """Restores by number, the newest first; their steps that were taken back, and those that stay since
    somebody changed it meanwhile."""

    restores: tuple[int, ...]
    steps: tuple[Step, ...]
    stay: tuple[Step, ...]


def carry_out(places: Places, steps: Sequence[Step], copy: Copy, *, by: str, **about: str) -> Record | None:
    """Write the steps; None where all is as it should be already. Raises Problem where nothing was written,
    Stopped in the middle."""
    with alone(places.restores):
        record = _begun(places, {"began": utc_now(), "by": by, "boot": _boot_id(places), **about})
        writer = Writer(Machine(places.root), copy, record)
        try:
            writer.prepare(steps)
            if not record.done:
                record.discard()
                return None
            _log(places, f"restore {record.number} begun by {by}: {len(record.done)} steps{_after(record)}")
        except (Problem, OSError) as error:
            record.discard()
            raise _nothing_written(error) from error
        with _told(places, record.number, by):
            writer.carry_out()
        _tell(places, record.number, f"done by {by}: {len(record.done)} steps written and read back")
        return record


def undoable(places: Places) -> list[tuple[Record, list[Step]]]:
    """The restores that would be taken back, newest first, with their steps. Raises Problem where there is
    none, and for a record that can't be used."""
    records = Record.undoable(places.restores)
    if not records:
        hint = f"None is recorded in {places.restores}."
        if places.from_kit is None:
            hint += (
                " What was written out of a recovery kit is recorded beside it, and taken back with --kit."
            )
        raise UsageProblem("There is no restore to be taken back.", hint)
    return [(one, steps_of({"steps": [done.step for done in one.done]}, "record")) for one in records]


def take_back(places: Places, *, by: str) -> TakenBack:
    """Take the newest restore back, with the one that it went on with. Raises Problem, Stopped."""
    back: list[Step] = []
    stay: list[Step] = []
    with alone(places.restores):
        records = [record for record, _ in undoable(places)]
        for record in records:
            _begin_to_take_back(places, record, by)
            with _told(places, record.number, by):
                taken = Writer(Machine(places.root), record.kept, record).undo()
            back += taken.back
            stay += taken.stay
            stays = f"; {len(taken.stay)} stay, changed by others since" if taken.stay else ""
            _tell(places, record.number, f"taken back by {by}: {len(taken.back)} steps{stays}")
    return TakenBack(tuple(record.number for record in records), tuple(back), tuple(stay))


def _begin_to_take_back(places: Places, record: Record, by: str) -> None:
    try:
        _log(places, f"restore {record.number} is taken back by {by}")
    except OSError as error:
        raise _nothing_written(error) from error


def plan_in(file: BinaryIO) -> Document:
    """The plan that the reader's user wrote into a file: nothing but steps that are known comes out of it.
    Raises Problem."""
    try:
        made = dict(json.loads(file.read(_MOST)))
    except (ValueError, TypeError, RecursionError) as error:
        raise Problem(f"The plan can't be used ({error}); nothing was written.") from error
    require_plan(made)
    return made | {"steps": [step.to_json() for step in steps_of(made)]}


def steps_of(made: Document, called: str = "plan") -> list[Step]:
    """The steps of a plan that somebody else worked out. Raises Problem for what is none."""
    try:
        return [from_json(one) for one in made["steps"]]
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise Problem(f"The {called} can't be used ({error}); nothing was written.") from error


def _begun(places: Places, about: Document) -> Record:
    try:
        return Record.begin(places.restores, **about)
    except OSError as error:
        raise Problem(
            f"What is there now can't be kept in {places.restores}: {detail_of(error)}. Nothing was written.",
            "Run it with sudo.",
        ) from error


def _nothing_written(error: Problem | OSError) -> Problem:
    if isinstance(error, OSError):
        error = Problem(f"What would be written can't be recorded: {detail_of(error)}.")
    said = "" if "othing was written" in error.message + error.hint else " Nothing was written."
    problem = Problem(error.message + said, error.hint)
    problem.status = error.status
    return problem


def _boot_id(places: Places) -> str:
    try:
        return Machine(places.root).read(_BOOT_ID, 64).decode("ascii", "replace").strip()
    except OSError:
        return ""


def _after(record: Record) -> str:
    before = record.document.get("continues")
    return f", going on with restore {before}, which was not finished" if before else ""


@contextlib.contextmanager
def _told(places: Places, number: int, by: str) -> Iterator[None]:
    """Puts what stops a restore on record."""
    try:
        yield
    except Stopped as stopped:
        done, steps = len(stopped.done), len(stopped.done) + len(stopped.left)
        said = f"by {by} stopped after {done} of {steps} steps: {stopped.message}"
        _tell(places, number, said, is_stopped=True)
        raise


def _tell(places: Places, number: int, said: str, *, is_stopped: bool = False) -> None:
    """Log and journal. What was written is written, whether or not that can be noted."""
    try:
        _log(places, f"restore {number} {said}")
    except OSError as error:
        print(f"bootwatch: it can't be noted in {places.log_folder}: {detail_of(error)}", file=sys.stderr)
    announce_restore(number, said, places, is_stopped=is_stopped)


def _log(places: Places, said: str) -> None:
    baselines.append_log(places.log_folder, plain(f"{utc_now()} {said}", _LOG_LINE))
