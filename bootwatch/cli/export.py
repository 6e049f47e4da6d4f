"""bootwatch baseline export: write a recovery kit."""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

from bootwatch.cli.saving import who
from bootwatch.places import Places
from bootwatch.problem import UsageProblem


def add(parts: Any) -> None:
    command = parts.add_parser(
        "export",
        help="write a recovery kit onto a stick",
        description="A recovery kit holds the baseline, the firmware's variables, copies of the loaders, the "
        "partition tables, and the program that brings them back from any live system. Of people's files it "
        "holds none.",
    )
    what = command.add_mutually_exclusive_group(required=True)
    what.add_argument("--to", metavar="FOLDER|FILE.zip", help="where to: a stick's folder, or a zip")
    # What root's own unit runs: the kit that is always kept, or with a folder the one there.
    what.add_argument("--renew", nargs="?", const="", help=argparse.SUPPRESS)
    command.add_argument("--yes", action="store_true", help="replace a kit that is there already")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    if arguments.renew is not None:
        return _renew(arguments)
    return _export(arguments)


def _export(arguments: argparse.Namespace) -> int:
    from bootwatch.service.kit import export
    from bootwatch.tell.kit_report import exported_report

    places: Places = arguments.places
    _require_rights(places)
    if not arguments.to:
        raise UsageProblem("Where to was not said.", "Name a folder, that of a stick, say: --to FOLDER")
    made = export(places, Path(arguments.to), by=who(), replace=arguments.yes)
    if arguments.json:
        document = {
            "format": "bootwatch/exported/1",
            "kit": str(made.place),
            "files": made.files,
            "size": made.size,
            "about": made.about,
        }
        print(json.dumps(document, indent=1))
        return 0
    print(exported_report(str(made.place), made.files, made.size, made.about), end="")
    return 0


def _renew(arguments: argparse.Namespace) -> int:
    from bootwatch.service.kit import renew

    places: Places = arguments.places
    _require_rights(places)
    folder = Path(arguments.renew) if arguments.renew else None
    made = renew(places, folder, by=who())
    print(f"The recovery kit {made.place} was made." if made else "The recovery kit is up to date.")
    return 0


def _require_rights(places: Places) -> None:
    """On the running machine baseline and spares are root's."""
    if places.is_this_machine and os.geteuid() != 0:
        raise UsageProblem("A recovery kit is made with root's rights.", "Run it with sudo.")
