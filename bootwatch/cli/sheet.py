"""bootwatch baseline sheet: how the machine is started again, on paper."""

from __future__ import annotations

import argparse
from typing import Any

from bootwatch.cli.result import no_baseline
from bootwatch.keep.baseline import load
from bootwatch.places import Places


def add(parts: Any) -> None:
    command = parts.add_parser(
        "sheet",
        help="how this machine is started again, to be printed",
        description="Two pages for a technician: what the machine starts from, and each way back. For the "
        "owner six lines in large print. Both are also in every recovery kit.",
    )
    command.add_argument("--owner", action="store_true", help="the owner's sheet, in the owner's language")
    command.add_argument("--html", action="store_true", help="as a page for a browser, which prints well")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    from bootwatch.service.sheet import sheets_for
    from bootwatch.tell.sheet import OWNER, TECHNICIAN

    places: Places = arguments.places
    baseline = load(places.baseline)
    if baseline is None:
        raise no_baseline(places)
    name = OWNER if arguments.owner else TECHNICIAN
    print(sheets_for(places, baseline)[f"{name}.{'html' if arguments.html else 'txt'}"].decode(), end="")
    return 0
