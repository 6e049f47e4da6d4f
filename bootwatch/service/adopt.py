"""Taking single differences over into the baseline: worked out by the reader, written by an administrator.

What would be written is a plan, a document of plain JSON values. On the running machine the reader's user
works it out in a child, since snapshots hold hostile bytes: root writes it down and parses only its JSON.
"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from typing import Any

from bootwatch.config import Config
from bootwatch.judge.adopted import Adopted, Adoption, HangTogether
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.change import Change
from bootwatch.model.snapshot import Snapshot
from bootwatch.observe.snapshot import utc_now
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, MachineProblem, Problem, UsageProblem
from bootwatch.service.ahead import judged
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.read import load_baseline, past_of
from bootwatch.service.save import Saved, replaced, write_baseline
from bootwatch.tell.open_report import listed
from bootwatch.tell.phrases import counted

Plan = dict[str, Any]

_MOST_NAMED = 20


def plan_for(places: Places, number: int, ids: list[str], *, as_json: bool) -> Plan | int:
    """What the baseline would be with the differences ``ids`` of snapshot ``number`` taken over.

    An exit status instead where the reader's user could not work it out; it has said why, ``as_json`` where
    that is asked for. Raises Problem when these differences can't be taken.
    """
    if not must_ask(places):
        return plan(places, number, ids)
    with open(os.memfd_create("bootwatch-plan"), "w+b") as file:
        handed = ["--planned-for", str(number), str(file.fileno()), *(["--json"] if as_json else [])]
        status = as_reader(["baseline", "adopt", *ids, *handed], [file.fileno()])
        file.seek(0)
        return status or dict(json.load(file))


def plan(places: Places, number: int, ids: list[str]) -> Plan:
    """The same, worked out here."""
    baseline = load_baseline(places)
    if baseline is None:
        raise BaselineProblem("There is no baseline.", "Save one: bootwatch baseline save --reason TEXT")
    config = Config.load(places.config)
    adoption = _adoption(places, config, baseline, number)
    try:
        found = adoption.of(ids)
    except HangTogether as error:
        raise _hang_together(ids, [one for one in adoption.changes if one.id in error.also]) from error
    return {
        "baseline": baseline.digest,
        "state": found.state.parts(),
        "gaps": [gap.to_json() for gap in found.gaps],
        "overview": _overview(config, baseline, adoption, found),
    }


def _adoption(places: Places, config: Config, baseline: Baseline, number: int) -> Adoption:
    with History.look(places.history) as history:
        row = history.row(number) if history else None
        if history is None or row is None:
            raise Problem(f"The history holds no snapshot {number}.", "See: bootwatch history")
        snapshot = history.snapshot(number)
        past = past_of(places, history, snapshot, baseline)
    if row.drift is None or row.baseline != baseline.digest:
        raise replaced()
    return Adoption(baseline.state, baseline.gaps, snapshot, row.drift.changes, config.system_names, past)


def _overview(config: Config, baseline: Baseline, adoption: Adoption, found: Adopted) -> dict[str, Any]:
    """What the machine starts from by the new baseline, in words.

    What is wrong by itself stays what a person has seen: the former baseline's, and what comes with what was
    taken over, but not what else is wrong today.
    """
    now, past = adoption.now, adoption.past
    after = judged(Snapshot(now.circumstance, found.state, found.gaps), None, config, past)
    before = judged(Snapshot(now.circumstance, baseline.state, baseline.gaps), None, config, past)
    seen = {str(one["id"]) for one in baseline.overview.get("findings", ())}
    unseen = {one.id for one in before.findings} - seen
    kept = tuple(one for one in after.findings if one.id not in unseen)
    view = replace(after, findings=kept).overview()
    return view | {"machine": baseline.machine, "routes": after.routes()}


def _hang_together(ids: list[str], also: list[Change]) -> Problem:
    what = "This difference" if len(ids) == 1 else "These differences"
    if not also:
        return MachineProblem(
            f"{what} can't be taken over alone, and with what else can't be told; nothing was saved.",
            "It may hang together with something that could not be read: see bootwatch drift."
            "\nTo call today's state good as a whole: bootwatch baseline save --reason TEXT",
        )
    others = counted(len(also), "other")
    return UsageProblem(
        f"{what} can't be taken over without {others}, so nothing was saved.",
        f"They hang together. Name {'that one' if len(also) == 1 else 'those'} too:\n{listed(also)}",
    )


def write_adopted(
    places: Places, made: Plan, *, number: int, changes: list[Change], reason: str, by: str
) -> Saved:
    """Put the planned baseline in place, as `save_baseline` does, and return the same."""
    former = baselines.load_header(places.baseline)
    if former is None or former.digest != made["baseline"]:
        raise replaced()
    document = baselines.make_document(
        machine=former.machine,
        saved=utc_now(),
        reason=reason,
        by=by,
        snapshot=None,
        parts=made["state"],
        gaps=made["gaps"],
        overview=made["overview"],
        former={
            "saved": former.saved,
            "reason": former.reason,
            "taken": [change.id for change in changes],
        },
    )
    named = [change.id for change in changes[:_MOST_NAMED]]
    left = len(changes) - len(named)
    which = ", ".join([*named, *([f"{left} more"] if left else [])])
    count = counted(len(changes), "difference")
    said = f"changed by {by}, {count} of snapshot {number} taken over ({which}): {reason}"
    return write_baseline(places, document, said, meant_for=former.digest)
