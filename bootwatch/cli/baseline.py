"""bootwatch baseline: call today's state good, and show what was called good."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from typing import Any

from bootwatch.cli import adopt, export, sheet
from bootwatch.cli.result import no_baseline
from bootwatch.cli.saving import compare_again, is_agreed, read_for_baseline, reason_in, who, without_spare
from bootwatch.keep.baseline import load_header
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.save import save_baseline
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.overview_report import doubts, overview_report
from bootwatch.tell.plain import plain

_QUESTION = "Does every system on this machine start as it should? Then save this as good"


def add(commands: Any) -> None:
    command = commands.add_parser("baseline", help="call today's state good, or show what was called good")
    parts = command.add_subparsers(metavar="save|show|adopt|export|sheet", required=True)
    save = parts.add_parser("save", help="take a snapshot and make it the baseline")
    save.add_argument("--reason", required=True, metavar="TEXT", help="why this state is good; kept with it")
    save.add_argument(
        "--accept-gaps", action="store_true", help="save even though not everything could be read"
    )
    save.add_argument("--yes", action="store_true", help="do not ask at a terminal either")
    save.add_argument("--json", action="store_true", help="as JSON; asks nothing")
    save.set_defaults(run=run_save)
    show = parts.add_parser("show", help="show the baseline")
    show.add_argument("--json", action="store_true", help="as JSON")
    show.set_defaults(run=run_show)
    adopt.add(parts)
    export.add(parts)
    sheet.add(parts)


def run_save(arguments: argparse.Namespace) -> int:
    from bootwatch.service.kit import renew_own

    places: Places = arguments.places
    reason = reason_in(arguments.reason, "this state is good")
    row = read_for_baseline(places)
    say: Callable[[str], None] = (lambda text: None) if arguments.json else print
    say("This is what would be called good:\n")
    say(overview_report(row.overview))
    wrong = doubts(row.overview)
    say(f"What looks wrong about it:\n{wrong}" if wrong else "Nothing looks wrong about it.\n")
    if row.overview["gaps"] and not arguments.accept_gaps:
        raise MachineProblem(
            "The baseline was not saved: not everything could be read (see above).",
            "Mend that first. To save all the same, without what is unknown: add --accept-gaps",
        )
    if not is_agreed(arguments, _QUESTION):
        return 0
    saved = save_baseline(places, row.number, reason, who())
    compare_again(places)
    renew_own(places, by=who())
    if arguments.json:
        document = {"format": "bootwatch/saved/1", "snapshot": row.number, **saved.to_json()}
        print(json.dumps(document, indent=1))
        return 0
    say(f"Snapshot {row.number} is the baseline now:\n  {saved.place}\n{without_spare(saved)}".rstrip())
    return 0


def run_show(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    baseline = load_header(places.baseline)
    if baseline is None:
        raise no_baseline(places)
    view = baseline.overview
    if arguments.json:
        head = {
            "format": "bootwatch/baseline-overview/1",
            "machine": baseline.machine,
            "saved": baseline.saved,
            "reason": baseline.reason,
            "by": baseline.by,
            "former": baseline.former,
        }
        print(json.dumps(head | view, indent=1))
        return 0
    print(f"{plain(baseline.machine)}: called good {phrases.moment(baseline.saved)} by {plain(baseline.by)},")
    print(f'because: "{plain(baseline.reason)}"\n')
    if baseline.former:
        print("\n".join(_former_lines(baseline.former)) + "\n")
    print(overview_report(view), end="")
    wrong = doubts(view)
    if wrong:
        print(f"\nWhat looked wrong about it then:\n{wrong}", end="")
    return 0


def _former_lines(former: dict[str, Any]) -> list[str]:
    taken = phrases.counted(len(former["taken"]), "difference")
    when = phrases.moment(str(former["saved"]))
    said = f'It is the baseline of {when} ("{plain(str(former["reason"]))}") with {taken} taken over.'
    return wrapped(said, 80)
