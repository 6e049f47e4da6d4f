"""bootwatch restore: bring back what systems lost; without --write it only says what it would do."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
from typing import TYPE_CHECKING, Any

from bootwatch.cli.drift import asked
from bootwatch.cli.kit_option import as_called, go_by_kit, offer_kit
from bootwatch.cli.restoring import restored, undo_it, write_it
from bootwatch.cli.result import newest, no_baseline
from bootwatch.cli.showing import is_only_published
from bootwatch.cli.snapshot import UNTOLD
from bootwatch.config import Config
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, UsageProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.read import look, observed
from bootwatch.tell.plain import plain

if TYPE_CHECKING:
    from bootwatch.service.asked import Asked

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
        "--also",
        action="append",
        default=[],
        metavar="ID",
        help="undo this change too, though it took no way of starting away, or is a partition's type "
        "(an id as in drift)",
    )
    command.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="OLD=NEW",
        help="the baseline's boot volume OLD is NEW today, as gpt:IDENTIFIER",
    )
    command.add_argument(
        "--without-baseline",
        action="store_true",
        help="make entries for systems that nothing leads to, from what lies on the disks",
    )
    command.add_argument(
        "--add-route", metavar="SYSTEM", help="give a system one more way of starting, as rehearse names it"
    )
    command.add_argument(
        "--trial",
        nargs="?",
        const="",
        metavar="SYSTEM",
        help="start a system once, next time; without a name: what came of the last trial",
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

    wanted = asked_for(arguments)
    go_by_kit(arguments, insists=bool(arguments.map))
    places: Places = arguments.places
    if arguments.planned_for:
        number, descriptor = arguments.planned_for
        made = plan_of_recorded(places, number, wanted)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            json.dump(made, file)
        return 0
    if arguments.undo:
        return undo_it(places, arguments)
    if arguments.trial == "":
        return _tell_trial(places, arguments)
    return _restore(places, arguments)


def _restore(places: Places, arguments: argparse.Namespace) -> int:
    """1 where something could be written and wasn't, or a question is open; 0 where there was nothing to
    write or all was."""
    made = _planned(places, arguments)
    if isinstance(made, int):
        return made
    if made["questions"] and _answered(arguments, made["questions"]):
        made = _planned(places, arguments)
        if isinstance(made, int):
            return made
    from bootwatch.tell.restore_report import cautions, restore_report

    if not arguments.json:
        words = [as_called("restore", arguments), *map(shlex.quote, asked_for(arguments).words())]
        hint = "" if arguments.write else plain(" ".join(words), 2000)
        print(restore_report(made, hint=hint), end="")
    if not arguments.write:
        if arguments.json:
            print(json.dumps(made | {"cautions": cautions(made)}, indent=1))
        return 1 if made["steps"] or made["questions"] else 0
    if not made["steps"]:
        if arguments.json:
            print(json.dumps(restored(None), indent=1))
        return 1 if made["questions"] else 0
    return write_it(places, arguments, made, asked_for(arguments))


def _planned(places: Places, arguments: argparse.Namespace) -> Document | int:
    from bootwatch.service.asked import Kind
    from bootwatch.service.restore import plan_for, plan_of

    wanted = asked_for(arguments)
    if must_ask(places):
        number = asked(places).facts.snapshot if wanted.kind is Kind.LOST else _number(places)
        return plan_for(places, number or 0, wanted, as_json=arguments.json)
    if is_only_published(places):
        raise UsageProblem("What would be written is worked out with root's rights.", "Run it with sudo.")
    if wanted.kind is not Kind.LOST:
        from bootwatch.service.proposals import proposal_of

        return proposal_of(places, observed(places).snapshot, wanted)
    reading = look(places)
    if reading is None or reading.drift is None:
        raise _no_baseline(places)
    return plan_of(places, reading.snapshot, reading.drift, wanted)


def _number(places: Places) -> int | None:
    """Of a fresh reading by the service, which needs no baseline."""
    Config.load(places.config)
    ask_for_reading(UNTOLD)
    row = newest(places)
    return row.number if row else None


def _no_baseline(places: Places) -> BaselineProblem:
    problem = no_baseline(places)
    hint = "What can be told without one: bootwatch restore --without-baseline"
    return BaselineProblem(problem.message, f"{problem.hint}\n{hint}")


def _tell_trial(places: Places, arguments: argparse.Namespace) -> int:
    """1 where the last trial didn't come to what was asked for."""
    from bootwatch.service.trials import last_trial
    from bootwatch.tell.proposal_report import trial_report

    document = last_trial(places, plain(as_called("restore", arguments), 2000))
    print(json.dumps(document, indent=1) if arguments.json else trial_report(document).rstrip())
    return 1 if document["result"] == "otherwise" else 0


def asked_for(arguments: argparse.Namespace) -> Asked:
    """Raises UsageProblem for what is no pair of volumes, or doesn't go together."""
    from bootwatch.service.asked import Asked, Kind

    mapped = dict(_pair(said) for said in arguments.map)
    kinds = {
        Kind.WITHOUT_BASELINE: arguments.without_baseline,
        Kind.ADD_ROUTE: arguments.add_route is not None,
        Kind.TRIAL: arguments.trial is not None,
    }
    named = [kind for kind, is_asked in kinds.items() if is_asked]
    if arguments.undo and (named or arguments.only or arguments.also or mapped):
        raise UsageProblem(
            "--undo takes a whole restore back, whatever it was of.", "Leave the other options out."
        )
    if len(named) > 1 or (named and (arguments.only or arguments.also or mapped)):
        said = " and ".join(
            [*(f"--{one.value}" for one in named), *(["--only, --also or --map"] if len(named) < 2 else [])]
        )
        raise UsageProblem(f"{said} don't go together.", "Ask for one after the other.")
    kind = named[0] if named else Kind.LOST
    return Asked(arguments.only, mapped, kind, arguments.add_route or arguments.trial or "", arguments.also)


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
