"""bootwatch heard: what a spoken code says. It needs no machine, no rights and no network."""

from __future__ import annotations

import argparse
import datetime
import json
from typing import Any

from bootwatch.cli.meaning import general
from bootwatch.judge.meanings import MEANINGS
from bootwatch.tell.spoken import decode
from bootwatch.tell.spoken_words import age_in_days, lines


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "heard",
        help="what a code says that somebody reads out over the phone",
        description="Capitals, blanks and hyphens don't matter; a word for each letter will do as well.",
    )
    command.add_argument("code", nargs="+", metavar="CODE", help="the ten letters")
    command.add_argument("--json", action="store_true", help="show it as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises UsageProblem for a code that was misheard."""
    said = decode(" ".join(arguments.code))
    today = datetime.datetime.now(datetime.UTC).date()
    if arguments.json:
        print(json.dumps(said.to_json() | {"age_in_days": age_in_days(said, today)}, indent=1))
    else:
        headline = general(MEANINGS[said.name], MEANINGS[said.name].headline) if said.name else ""
        print("\n".join(lines(said, today, headline)))
    return 0
