"""bootwatch restore: bring back what systems lost; without --write it only says what it would do."""

from __future__ import annotations

import argparse
import json
import os
import sys
from typing import Any

from bootwatch.cli.drift import asked
from bootwatch.cli.result import no_baseline
from bootwatch.cli.saving import who
from bootwatch.cli.showing import is_only_published
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.ask import must_ask
from bootwatch.service.read import look

Document = dict[str, Any]


def add(commands: Any) -> None:
    command = commands.add_parser(
        "restore",
        help="bring back what systems lost since the baseline",
        description="Compares with the baseline and lists the steps that bring back what was lost, each with "
        "why and what it overwrites, and what starts before and after them. Nothing is written without "
        "--write.",
    )
    command.add_argument(
        "--only", action="append", default=[], metavar="SYSTEM", help="only what this system lost"
    )
    command.add_argument("--write", action="store_true", help="carry the steps out, after a question")
    command.add_argument("--yes", action="store_true", help="do not ask")
    command.add_argument("--undo", action="store_true", help="take the last restore back")
    command.add_argument("--json", action="store_true", help="as JSON; asks nothing")
    # What the reader's user is asked for: a snapshot's number, and where to write what it works out.
    command.add_argument("--planned-for", nargs=2, type=int, help=argparse.SUPPRESS)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    from bootwatch.service.restore import plan_of_recorded

    places: Places = arguments.places
    if arguments.planned_for:
        number, descriptor = arguments.planned_for
        made = plan_of_recorded(places, number, arguments.only)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            json.dump(made, file)
        return 0
    if arguments.undo:
        return _undo(places, arguments)
    return _restore(places, arguments)


def _restore(places: Places, arguments: argparse.Namespace) -> int:
    """1 where something could be brought back and wasn't, 0 where nothing was lost or all was written."""
    made = _planned(places, arguments)
    if isinstance(made, int):
        return made
    if not arguments.json:
        from bootwatch.tell.restore_report import restore_report

        print(restore_report(made, hint=not arguments.write), end="")
    if not arguments.write:
        if arguments.json:
            print(json.dumps(made, indent=1))
        return 1 if made["steps"] else 0
    return _write(places, arguments, made) if made["steps"] else 0


def _planned(places: Places, arguments: argparse.Namespace) -> Document | int:
    from bootwatch.service.restore import plan_for, plan_of

    if must_ask(places):
        result = asked(places)
        return plan_for(places, result.facts.snapshot or 0, arguments.only, as_json=arguments.json)
    if is_only_published(places):
        raise UsageProblem(
            "What would be brought back is worked out with root's rights.", "Run it with sudo."
        )
    reading = look(places)
    if reading is None or reading.drift is None:
        raise no_baseline(places)
    return plan_of(places, reading.snapshot, reading.drift, arguments.only)


def _write(places: Places, arguments: argparse.Namespace, made: Document) -> int:
    from bootwatch.service.restore import write
    from bootwatch.tell.restore_report import done_lines

    if not arguments.yes and not _is_agreed(arguments):
        return 1
    record = write(places, made, by=who())
    number = record.number if record else 0
    if arguments.json:
        document = {"format": "bootwatch/restored/1", "restore": number, "steps": made["steps"]}
        print(json.dumps(document, indent=1))
    else:
        print("\n".join(["", *done_lines(number, len(made["steps"]))]))
    return 0


def _is_agreed(arguments: argparse.Namespace) -> bool:
    """Nothing is written unasked: where nobody can be asked, --yes has to say it."""
    if arguments.json or not sys.stdin.isatty():
        raise UsageProblem("Nobody can be asked whether to write this; nothing was written.", "Add --yes.")
    print("\nWrite this? [y/N]: ", end="", flush=True)
    if sys.stdin.readline().strip().lower() in ("y", "yes"):
        return True
    print("Nothing was written.", file=sys.stderr)
    return False


def _undo(places: Places, arguments: argparse.Namespace) -> int:
    from bootwatch.service.restore import undo

    if not arguments.yes and not _is_agreed(arguments):
        return 1
    taken = undo(places, by=who())
    if arguments.json:
        print(
            json.dumps({"format": "bootwatch/undone/1", "steps": [one.to_json() for one in taken]}, indent=1)
        )
    else:
        print(f"Taken back: {len(taken)} of the last restore's steps. Look: bootwatch drift")
    return 0
