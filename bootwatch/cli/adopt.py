"""bootwatch baseline adopt: take single differences over into the baseline."""

from __future__ import annotations

import argparse
import json
import os
from typing import Any

from bootwatch.cli.result import Result, no_baseline
from bootwatch.cli.saving import compare_again, is_agreed, read_for_baseline, reason_in, who, without_spare
from bootwatch.config import Config
from bootwatch.judge.adopted import ONCE
from bootwatch.keep.baseline import load_header
from bootwatch.model.change import Change, Drift
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.service.save import Saved
from bootwatch.tell.open_report import listed, open_report, taking_report
from bootwatch.tell.overview_report import doubts
from bootwatch.tell.phrases import counted


def add(parts: Any) -> None:
    command = parts.add_parser("adopt", help="take single differences over into the baseline, or list them")
    command.add_argument("ids", nargs="*", metavar="ID", help="a difference's id, or the beginning of one")
    command.add_argument("--accepted", action="store_true", help="all that are accepted by rule")
    command.add_argument("--reason", metavar="TEXT", help="why they are good; kept with the baseline")
    command.add_argument("--yes", action="store_true", help="do not ask at a terminal either")
    command.add_argument("--json", action="store_true", help="as JSON; asks nothing")
    # What the reader's user is asked for: a snapshot's number, and where to write what it works out.
    command.add_argument("--planned-for", nargs=2, type=int, help=argparse.SUPPRESS)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    if arguments.planned_for:
        return _plan(places, arguments)
    if not (arguments.ids or arguments.accepted):
        if arguments.reason is not None:
            raise UsageProblem(
                "Which differences are to be taken over was not said.",
                "Without --reason they are listed: bootwatch baseline adopt",
            )
        return _list(places, arguments)
    if arguments.reason is None:
        raise UsageProblem("There is no reason.", "Say in a few words why they are good: --reason TEXT")
    return _adopt(places, arguments, reason_in(arguments.reason, "they are good"))


def _read(places: Places) -> Result:
    """A fresh reading, compared with the baseline."""
    baseline = load_header(places.baseline)
    if baseline is None:
        raise no_baseline(places)
    Config.load(places.config)
    row = read_for_baseline(places)
    if row.drift is None:
        raise MachineProblem(
            "The reading gave no comparison.", "See: journalctl -u bootwatch-read@asked-programs -n 20"
        )
    return Result.of_row(row, row.drift, baseline)


def _list(places: Places, arguments: argparse.Namespace) -> int:
    result = _read(places)
    if arguments.json:
        changes = sorted(result.drift.changes, key=lambda change: not change.accepted)
        told = {"format": "bootwatch/open/1", "changes": [change.to_json() for change in changes]}
        print(json.dumps(result.to_json() | told, indent=1))
        return 0
    print(open_report(result.drift, result.facts), end="")
    return 0


def _adopt(places: Places, arguments: argparse.Namespace, reason: str) -> int:
    from bootwatch.service.adopt import plan_for, write_adopted
    from bootwatch.service.kit import renew_own

    result = _read(places)
    number, changes = result.facts.snapshot, chosen(result.drift, arguments.ids, arguments.accepted)
    if number is None or not changes:
        return _nothing(arguments.json)
    made = plan_for(places, number, [change.id for change in changes], as_json=arguments.json)
    if isinstance(made, int):
        return made
    if not arguments.json:
        print(taking_report(changes, doubts(made["overview"])))
    if not is_agreed(arguments, "Take this over into the baseline?"):
        return 0
    saved = write_adopted(places, made, number=number, changes=changes, reason=reason, by=who())
    compare_again(places)
    renew_own(places, by=who())
    left = [change.id for change in result.drift.changes if change not in changes]
    if arguments.json:
        print(json.dumps(_document(saved, number, changes, left), indent=1))
        return 0
    stay = f"{counted(len(left), 'difference')} stay{'s' if len(left) == 1 else ''} open: bootwatch drift"
    said = f"{without_spare(saved)}{stay if left else ''}"
    print(f"The baseline holds it now:\n  {saved.place}\n{said}".rstrip())
    return 0


def _nothing(as_json: bool) -> int:
    if as_json:
        print(json.dumps({"format": "bootwatch/adopted/1", "file": None, "adopted": []}, indent=1))
    else:
        print("No open difference is accepted by rule, so nothing was saved.")
    return 0


def _document(saved: Saved, number: int, changes: list[Change], left: list[str]) -> dict[str, Any]:
    return {
        "format": "bootwatch/adopted/1",
        "snapshot": number,
        "adopted": [change.id for change in changes],
        "open": left,
        **saved.to_json(),
    }


def chosen(drift: Drift, ids: list[str], accepted: bool) -> list[Change]:
    """The changes that are named, worst first. Raises UsageProblem for a name that is not one change's."""
    wanted = {_named(drift, text).id for text in ids}
    if accepted:
        wanted |= {change.id for change in drift.changes if change.accepted and change.change != ONCE}
    return [change for change in drift.changes if change.id in wanted]


def _named(drift: Drift, text: str) -> Change:
    found = [change for change in drift.changes if change.id == text] or [
        change for change in drift.changes if text and change.id.startswith(text)
    ]
    if not found:
        there = f"These are open:\n{listed(drift.changes)}" if drift.changes else "No difference is open."
        raise UsageProblem(f"No open difference has the id {text}; nothing was saved.", there)
    if len(found) > 1:
        hint = f"Write more of the one that you mean:\n{listed(found)}"
        raise UsageProblem(f"The ids of {len(found)} begin with {text}; nothing was saved.", hint)
    if found[0].change == ONCE:
        raise UsageProblem(
            f"{found[0].id} can't be taken over: it holds for one start only.",
            "The firmware forgets it with that start, and the difference is gone.",
        )
    return found[0]


def _plan(places: Places, arguments: argparse.Namespace) -> int:
    from bootwatch.service.adopt import plan

    number, descriptor = arguments.planned_for
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump(plan(places, number, arguments.ids), file)
    return 0
