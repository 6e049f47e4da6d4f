"""bootwatch restore: bring back what systems lost; without --write it only says what it would do."""

from __future__ import annotations

import argparse
import json
import os
import sys
from typing import TYPE_CHECKING, Any

from bootwatch.cli.drift import asked
from bootwatch.cli.kit_option import as_called, go_by_kit, offer_kit
from bootwatch.cli.restoring import undo_it, write_it
from bootwatch.cli.result import no_baseline
from bootwatch.cli.showing import is_only_published
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.ask import must_ask
from bootwatch.service.read import look

if TYPE_CHECKING:
    from bootwatch.service.restore import Asked

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
    command.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="OLD=NEW",
        help="the baseline's boot volume OLD is NEW today, as gpt:IDENTIFIER",
    )
    offer_kit(command)
    command.add_argument("--write", action="store_true", help="carry the steps out, after a question")
    command.add_argument("--yes", action="store_true", help="do not ask")
    command.add_argument("--undo", action="store_true", help="take the last restore back")
    command.add_argument("--json", action="store_true", help="as JSON; asks nothing")
    # What the reader's user is asked for: a snapshot's number, and where to write what it works out.
    command.add_argument("--planned-for", nargs=2, type=int, help=argparse.SUPPRESS)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    from bootwatch.service.restore import plan_of_recorded

    go_by_kit(arguments, insists=bool(arguments.map))
    places: Places = arguments.places
    if arguments.planned_for:
        number, descriptor = arguments.planned_for
        made = plan_of_recorded(places, number, asked_for(arguments))
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            json.dump(made, file)
        return 0
    if arguments.undo:
        return undo_it(places, arguments)
    return _restore(places, arguments)


def _restore(places: Places, arguments: argparse.Namespace) -> int:
    """1 where something could be brought back and wasn't, 0 where nothing was lost or all was written."""
    made = _planned(places, arguments)
    if isinstance(made, int):
        return made
    if made["questions"] and _answered(arguments, made["questions"]):
        made = _planned(places, arguments)
        if isinstance(made, int):
            return made
    if not arguments.json:
        from bootwatch.tell.restore_report import restore_report

        hint = "" if arguments.write else as_called("restore", arguments)
        print(restore_report(made, hint=hint), end="")
    if not arguments.write:
        if arguments.json:
            print(json.dumps(made, indent=1))
        return 1 if made["steps"] else 0
    return write_it(places, arguments, made, asked_for(arguments).mapped) if made["steps"] else 0


def _planned(places: Places, arguments: argparse.Namespace) -> Document | int:
    from bootwatch.service.restore import plan_for, plan_of

    if must_ask(places):
        result = asked(places)
        return plan_for(places, result.facts.snapshot or 0, asked_for(arguments), as_json=arguments.json)
    if is_only_published(places):
        raise UsageProblem(
            "What would be brought back is worked out with root's rights.", "Run it with sudo."
        )
    reading = look(places)
    if reading is None or reading.drift is None:
        raise no_baseline(places)
    return plan_of(places, reading.snapshot, reading.drift, asked_for(arguments))


def asked_for(arguments: argparse.Namespace) -> Asked:
    """Raises UsageProblem for what is no pair of volumes."""
    from bootwatch.service.restore import Asked

    mapped = dict(_pair(said) for said in arguments.map)
    return Asked(arguments.only, mapped)


def _pair(said: str) -> tuple[str, str]:
    was, _, now = said.partition("=")
    if not was or not now:
        raise UsageProblem(f"{said!r} doesn't say which boot volume is which.", "Say: --map gpt:OLD=gpt:NEW")
    return was, now


def _answered(arguments: argparse.Namespace, questions: list[Document]) -> bool:
    """Ask which boot volume is which; whether any was told. Where nobody can be asked, none is taken for
    another one."""
    from bootwatch.tell.restore_report import question

    if arguments.json or arguments.yes or not sys.stdin.isatty():
        return False
    known = len(arguments.map)
    for one in questions:
        print(f"{question(one)} [y/N]: ", end="", flush=True)
        if sys.stdin.readline().strip().lower() in ("y", "yes"):
            arguments.map.append(f"{one['was']}={one['now']}")
    return len(arguments.map) > known
