"""bootwatch baseline: call today's state good, and show what was called good."""

from __future__ import annotations

import argparse
import json
import os
import pwd
import sys
from collections.abc import Callable
from typing import Any

from bootwatch.cli.result import newest, no_baseline
from bootwatch.cli.snapshot import PROGRAMS, RECOMPARE, require_rights, take
from bootwatch.keep.baseline import load_header
from bootwatch.keep.history import Row
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.save import save_baseline
from bootwatch.tell import phrases
from bootwatch.tell.overview_report import doubts, overview_report
from bootwatch.tell.plain import plain


def add(commands: Any) -> None:
    command = commands.add_parser("baseline", help="call today's state good, or show what was called good")
    parts = command.add_subparsers(metavar="save|show", required=True)
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


def run_save(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    # What isn't text in the caller's encoding can't be kept as text.
    reason = " ".join(arguments.reason.encode("utf-8", "replace").decode().split())
    if not reason:
        raise UsageProblem("The reason is empty.", "Say in a few words why this state is good: --reason TEXT")
    row = _read(places)
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
    # Who names a reason in a script has looked already; who sits at a terminal reads it now.
    if not arguments.yes and not arguments.json and sys.stdin.isatty() and not _confirmed():
        print("Nothing was saved.", file=sys.stderr)
        return 0
    path, lacking = save_baseline(places, row.number, reason, _who())
    if must_ask(places):
        ask_for_reading(RECOMPARE)
    else:
        take(places, RECOMPARE)
    if arguments.json:
        document = {
            "format": "bootwatch/saved/1",
            "file": str(path),
            "snapshot": row.number,
            "without": lacking,
        }
        print(json.dumps(document, indent=1))
        return 0
    say(f"Snapshot {row.number} is the baseline now:\n  {path}")
    if lacking:
        say(f"No spare could be kept of: {', '.join(map(plain, lacking))}")
    return 0


def _read(places: Places) -> Row:
    """A fresh snapshot, with the programs left for the spares."""
    if must_ask(places):
        ask_for_reading(PROGRAMS)
    else:
        require_rights(places)
        take(places, PROGRAMS)
    row = newest(places)
    if row is None:
        raise MachineProblem(
            "No snapshot was recorded.", "See: journalctl -u bootwatch-read@asked-programs -n 20"
        )
    return row


def _confirmed() -> bool:
    print(
        "Does every system on this machine start as it should? Then save this as good [y/N]: ",
        end="",
        flush=True,
    )
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _who() -> str:
    """The person, also behind sudo."""
    name = os.environ.get("SUDO_USER")
    if name and os.geteuid() == 0:
        return name
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return str(os.getuid())


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
        }
        print(json.dumps(head | {"reason": baseline.reason, "by": baseline.by} | view, indent=1))
        return 0
    print(f"{plain(baseline.machine)}: called good {phrases.moment(baseline.saved)} by {plain(baseline.by)},")
    print(f'because: "{plain(baseline.reason)}"\n')
    print(overview_report(view), end="")
    wrong = doubts(view)
    if wrong:
        print(f"\nWhat looked wrong about it then:\n{wrong}", end="")
    return 0
