"""Bringing back what systems lost: worked out by the reader, written by an administrator.

What would be done is a plan, a document of plain JSON values. On the running machine the reader's user works
it out in a child, since snapshots hold hostile bytes; root holds each step against its own baseline.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from functools import partial

from bootwatch.judge.drift import compare
from bootwatch.judge.sides import Sides
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.change import Drift
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.observe.variables import read_variables
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, MachineProblem, Problem, UsageProblem
from bootwatch.recover.allowed import require_allowed
from bootwatch.recover.kit import opened
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.proposals import Question, questions
from bootwatch.recover.record import Record
from bootwatch.recover.relocate import relocated
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.asked import Asked, Document, Kind, plan_document, require_known
from bootwatch.service.confirming import last_restore
from bootwatch.service.proposals import proposal_of, write_proposal
from bootwatch.service.read import load_baseline
from bootwatch.service.settings import settings_of
from bootwatch.service.trusting import doubtful
from bootwatch.service.writing import carry_out, plan_in, steps_of
from bootwatch.tell.plain import plain


def plan_for(places: Places, number: int, asked: Asked, *, as_json: bool) -> Document | int:
    """What would be done about what snapshot ``number`` shows.

    An exit status instead where the reader's user could not work it out; it has said why, ``as_json`` where
    that is asked for. Raises Problem.
    """
    if not must_ask(places):
        return plan_of_recorded(places, number, asked)
    with open(os.memfd_create("bootwatch-plan"), "w+b") as file:
        handed = ["--planned-for", str(number), str(file.fileno()), *(["--json"] if as_json else [])]
        status = as_reader(["restore", *asked.words(), *handed], [file.fileno()])
        file.seek(0)
        return status or plan_in(file)


def plan_of_recorded(places: Places, number: int, asked: Asked) -> Document:
    """The same for a recorded snapshot, worked out here."""
    with History.look(places.history) as history:
        row = history.row(number) if history else None
        if history is None or row is None:
            raise Problem(f"The history holds no snapshot {number}.", "See: bootwatch history")
        snapshot = history.snapshot(number)
    if asked.kind is not Kind.LOST:
        return proposal_of(places, snapshot, asked)
    if row.drift is None:
        raise Problem(f"The history holds no comparison of snapshot {number}.", "See: bootwatch history")
    return plan_of(places, snapshot, row.drift, asked)


def plan_of(places: Places, snapshot: Snapshot, drift: Drift, asked: Asked) -> Document:
    """The same for any snapshot and how it differs from the baseline."""
    baseline = _baseline(places)
    config = settings_of(places)
    placed = relocated(baseline.state, snapshot.state.disks, asked.mapped)
    if placed.moves:
        weights, names = config.weights, config.system_names
        drift = compare(placed.state, baseline.gaps, snapshot, weights=weights, names=names).drift
    given = (placed.state, snapshot.state, baseline.gaps, snapshot.gaps)
    sides = Sides(*given, config.system_names, snapshot.circumstance)
    open_ones = questions(placed.lost, baseline.state, snapshot.state, asked.mapped.values())
    _require_same_machine(baseline, snapshot.state, asked, open_ones)
    require_known(sides.systems, asked.only)
    _require_mapped(baseline.state, snapshot.state, asked.mapped)
    _require_changes(drift, asked.also)
    copies = partial(_has_copy, places, baseline)
    found = plan(sides, snapshot, drift, copies, asked.only, placed.moves, config.weights, asked.also)
    return _document(baseline, snapshot, found) | {
        "moves": [vars(one) for one in placed.moves],
        "questions": [one.to_json() for one in open_ones],
        "last": last_restore(places, snapshot),
        "secure_boot": doubtful(places, snapshot, found.steps, found.then),
    }


def _baseline(places: Places) -> Baseline:
    baseline = load_baseline(places)
    if baseline is None:
        raise BaselineProblem(
            "There is no baseline, so what was lost is not known.", "See: bootwatch baseline save --help"
        )
    return baseline


def _require_same_machine(
    baseline: Baseline, now: State, asked: Asked, open_ones: Sequence[Question]
) -> None:
    """Where none of the baseline's disks is here, only what a person maps is taken for the same machine."""
    before = baseline.state
    if asked.mapped or not before.disks or not now.disks or set(before.disks) & set(now.disks):
        return
    replaced = "".join(f" --map {one.was}={plain(one.now)}" for one in open_ones)
    raise UsageProblem(
        f"The baseline is of another machine ({plain(baseline.machine)}): none of its disks is here.",
        f"Nothing was written. If its disks were replaced: bootwatch restore{replaced}"
        if replaced
        else "Nothing was written. Name the machine's own baseline with --state.",
    )


def _require_mapped(before: State, now: State, mapped: Mapping[str, str]) -> None:
    known = set(before.volumes)
    if len(set(mapped.values())) < len(mapped):
        raise UsageProblem("Two boot volumes can't be the same one now.", "Each --map names another one.")
    for was, today in mapped.items():
        if was not in known:
            raise UsageProblem(
                f"The baseline has no boot volume {was}.", f"It has: {', '.join(sorted(known))}"
            )
        if today in known or today not in now.volumes:
            new = ", ".join(sorted(set(now.volumes) - known)) or "none"
            raise UsageProblem(
                f"{today} is no boot volume that is new here.", f"New since the baseline: {new}"
            )


def _require_changes(drift: Drift, also: Sequence[str]) -> None:
    known = {one.id for one in drift.changes}
    for own in also:
        if own not in known:
            raise UsageProblem(f"There is no change {own!r} here.", "Their ids: bootwatch drift")


def _document(baseline: Baseline, snapshot: Snapshot, found: Plan) -> Document:
    made = plan_document(Kind.LOST, baseline.machine, snapshot, found.steps, found.now, found.then)
    return made | {
        "baseline": {"saved": baseline.saved, "reason": baseline.reason, "digest": baseline.digest},
        "left": [
            {
                **{"id": one.change.id, "change": one.change.change, "what": one.change.what},
                **{"why": one.why, "command": one.command},
            }
            for one in found.left
        ],
        "better": found.is_better,
    }


# writing


def write(places: Places, made: Document, *, by: str, asked: Asked | None = None) -> Record | None:
    """Carry the plan's steps out; None where there are none. ``asked`` is what a person asked for, whatever
    the plan says of it. Raises Stopped, Problem."""
    asked = asked or Asked()
    if asked.kind is not Kind.LOST:
        return write_proposal(places, made, asked, by=by)
    baseline = _baseline(places)
    if made["baseline"]["digest"] != baseline.digest:
        raise Problem(
            "The baseline was replaced meanwhile; nothing was written.", "Run the command once more."
        )
    steps = steps_of(made)
    machine = Machine(places.root)
    disks = {disk.key: disk for disk, _ in read_disks(machine).found}
    placed = relocated(baseline.state, disks, asked.mapped).state
    require_allowed(steps, placed, read_variables(machine).state, asked.also)
    if not steps:
        return None
    about = {"machine": baseline.machine, "baseline": baseline.digest}
    return carry_out(places, steps, partial(_copy, places, baseline), by=by, **about)


def _has_copy(places: Places, baseline: Baseline, own: str) -> bool:
    if places.from_kit:
        return opened(places.from_kit).has_copy(own)
    return own in baseline.state.texts or (places.spares / own).is_file()


def _copy(places: Places, baseline: Baseline, own: str) -> bytes:
    """A file's content by its digest: from the baseline itself, a spare, or the kit."""
    if places.from_kit:
        return opened(places.from_kit).copy(own)
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
