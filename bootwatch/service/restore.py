"""Bringing back what systems lost: worked out by the reader, written by an administrator.

What would be done is a plan, a document of plain JSON values. On the running machine the reader's user works
it out in a child, since snapshots hold hostile bytes; root holds each step against its own baseline.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

from bootwatch.config import Config
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.sides import Sides
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.change import Drift
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import utc_now
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, MachineProblem, Problem, UsageProblem
from bootwatch.recover.allowed import require_allowed
from bootwatch.recover.carry_out import Writer
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.record import Record
from bootwatch.recover.steps import Step, from_json
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.read import load_baseline
from bootwatch.tell.plain import plain

FORMAT = "bootwatch/restore-plan/1"
_LOG_LINE = 4000

Document = dict[str, Any]


def plan_for(places: Places, number: int, only: Sequence[str], *, as_json: bool) -> Document | int:
    """What would be done about what snapshot ``number`` shows, for the systems ``only`` if any are named.

    An exit status instead where the reader's user could not work it out; it has said why, ``as_json`` where
    that is asked for. Raises Problem.
    """
    if not must_ask(places):
        return plan_of_recorded(places, number, only)
    with open(os.memfd_create("bootwatch-plan"), "w+b") as file:
        handed = ["--planned-for", str(number), str(file.fileno()), *(["--json"] if as_json else [])]
        named = [word for name in only for word in ("--only", name)]
        status = as_reader(["restore", *named, *handed], [file.fileno()])
        file.seek(0)
        return status or dict(json.load(file))


def plan_of_recorded(places: Places, number: int, only: Collection[str]) -> Document:
    """The same for a recorded snapshot, worked out here."""
    with History.look(places.history) as history:
        row = history.row(number) if history else None
        if history is None or row is None or row.drift is None:
            raise Problem(f"The history holds no comparison of snapshot {number}.", "See: bootwatch history")
        snapshot = history.snapshot(number)
    return plan_of(places, snapshot, row.drift, only)


def plan_of(places: Places, snapshot: Snapshot, drift: Drift, only: Collection[str]) -> Document:
    """The same for any snapshot and how it differs from the baseline."""
    baseline = _baseline(places)
    config = Config.load(places.config)
    given = (baseline.state, snapshot.state, baseline.gaps, snapshot.gaps)
    sides = Sides(*given, config.system_names, snapshot.circumstance)
    _require_same_machine(baseline, snapshot.state)
    _require_known(sides, only)
    found = plan(sides, snapshot, drift, lambda own: _has_copy(places, baseline, own), only)
    return _document(baseline, snapshot, found)


def _baseline(places: Places) -> Baseline:
    baseline = load_baseline(places)
    if baseline is None:
        raise BaselineProblem(
            "There is no baseline, so what was lost is not known.", "See: bootwatch baseline save --help"
        )
    return baseline


def _require_same_machine(baseline: Baseline, now: State) -> None:
    before = baseline.state
    if before.disks and now.disks and not set(before.disks) & set(now.disks):
        raise UsageProblem(
            f"The baseline is of another machine ({plain(baseline.machine)}): none of its disks is here.",
            "Nothing was written. Name the machine's own baseline with --state.",
        )


def _require_known(sides: Sides, only: Collection[str]) -> None:
    known = sorted({system.name for system in sides.systems.all()})
    for name in only:
        if name not in known:
            raise UsageProblem(f"There is no system {name!r} here.", f"There are: {', '.join(known)}")


def _document(baseline: Baseline, snapshot: Snapshot, found: Plan) -> Document:
    return {
        "format": FORMAT,
        "baseline": {"saved": baseline.saved, "reason": baseline.reason, "digest": baseline.digest},
        "machine": baseline.machine,
        "snapshot": snapshot.number,
        "time": snapshot.circumstance.time,
        "steps": [step.to_json() for step in found.steps],
        "left": [
            {"id": one.change.id, "change": one.change.change, "what": one.change.what, "why": one.why}
            for one in found.left
        ],
        "volumes": {identity: volume.label for identity, volume in snapshot.state.volumes.items()},
        "now": _starts(found.now),
        "then": _starts(found.then),
        "better": found.is_better,
        "gaps": [gap.to_json() for gap in snapshot.gaps],
    }


def _starts(found: Outlook) -> Document:
    following = found.next_system
    return {
        "systems": [
            {"name": one.name, "how": one.how.value} for one in found.systems if not one.system.hidden
        ],
        "next": following.name if following else None,
        "by": found.next_start.by.value,
    }


# writing


def write(places: Places, made: Document, *, by: str) -> Record | None:
    """Carry the plan's steps out; None where there are none. Raises Stopped, Problem."""
    baseline = _baseline(places)
    if made["baseline"]["digest"] != baseline.digest:
        raise Problem(
            "The baseline was replaced meanwhile; nothing was written.", "Run the command once more."
        )
    steps = _steps(made)
    require_allowed(steps, baseline.state)
    if not steps:
        return None
    about = {"began": utc_now(), "by": by, "machine": baseline.machine, "baseline": baseline.digest}
    try:
        record = Record.begin(places.restores, **about)
    except OSError as error:
        raise Problem(
            f"What is there now can't be kept in {places.restores}: {error.strerror}. Nothing was written.",
            "Run it with sudo.",
        ) from error
    _log(places, f"restore {record.number} begun by {by}, {len(steps)} steps")
    Writer(Machine(places.root), lambda own: _copy(places, baseline, own), record).carry_out(steps)
    _log(places, f"restore {record.number} done")
    return record


def undo(places: Places, *, by: str) -> list[Step]:
    """Take the newest restore back; its steps that were. Raises Problem."""
    record = Record.newest(places.restores)
    if record is None:
        raise UsageProblem("There is no restore to be taken back.", f"None is recorded in {places.restores}.")
    _log(places, f"restore {record.number} is taken back by {by}")
    baseline = _baseline(places)
    taken = Writer(Machine(places.root), lambda own: _copy(places, baseline, own), record).undo()
    _log(places, f"restore {record.number} taken back")
    return taken


def _steps(made: Document) -> list[Step]:
    try:
        return [from_json(one) for one in made["steps"]]
    except (KeyError, TypeError, ValueError) as error:
        raise Problem(f"The plan can't be used ({error}); nothing was written.") from error


def _has_copy(places: Places, baseline: Baseline, own: str) -> bool:
    return own in baseline.state.texts or (places.spares / own).is_file()


def _copy(places: Places, baseline: Baseline, own: str) -> bytes:
    """A file's content by its digest: from the baseline itself, or a spare."""
    text = baseline.state.texts.get(own)
    if text is not None:
        return text
    try:
        data = (places.spares / own).read_bytes()
    except OSError as error:
        raise MachineProblem(f"The spare {own[:12]} can't be read: {error.strerror}.") from error
    if hashlib.sha256(data).hexdigest() != own:
        raise MachineProblem(f"The spare {own[:12]} in {places.spares} is damaged.")
    return data


def _log(places: Places, said: str) -> None:
    folder: Path = places.baseline
    baselines.append_log(folder, plain(f"{utc_now()} {said}", _LOG_LINE))
