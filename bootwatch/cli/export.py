"""bootwatch baseline export: write a recovery kit, or try whether one brings every system back."""

from __future__ import annotations

import argparse
import json
import os
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bootwatch.cli.kit_option import as_called
from bootwatch.cli.saving import who
from bootwatch.places import Places
from bootwatch.problem import UsageProblem

if TYPE_CHECKING:
    from bootwatch.service.stick import Shell


def add(parts: Any) -> None:
    command = parts.add_parser(
        "export",
        help="write a recovery kit onto a stick, or check one",
        description="A recovery kit holds the baseline, the firmware's variables, copies of the loaders, the "
        "partition tables, and the program that brings them back from any live system. Of people's files it "
        "holds none.",
    )
    what = command.add_mutually_exclusive_group(required=True)
    what.add_argument("--to", metavar="FOLDER|FILE.zip", help="where to: a stick's folder, or a zip")
    what.add_argument(
        "--check", metavar="KIT", help="try a kit on today's snapshot: would it bring every system back?"
    )
    # What the reader's user is asked for: an open file with what a kit holds, to be tried.
    what.add_argument("--tried", type=int, help=argparse.SUPPRESS)
    # What root's own unit runs: the kit that is always kept, or with a folder the one there.
    what.add_argument("--renew", nargs="?", const="", help=argparse.SUPPRESS)
    # What the reader's user is asked for: an open file with what is known of a stick, to be tried.
    what.add_argument("--stick", type=int, help=argparse.SUPPRESS)
    command.add_argument(
        "--with-shell",
        nargs="?",
        const="",
        metavar="FILE",
        help="with --to: make the stick start by itself, by this UEFI shell or the distribution's",
    )
    command.add_argument("--yes", action="store_true", help="replace a kit that is there already")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    if arguments.with_shell is not None and arguments.to is None:
        raise UsageProblem("--with-shell goes with --to.", "Say: --to STICK --with-shell")
    if arguments.stick is not None:
        return _try_stick(arguments)
    if arguments.renew is not None:
        return _renew(arguments)
    if arguments.check is not None or arguments.tried is not None:
        return _check(arguments)
    return _export(arguments)


def _export(arguments: argparse.Namespace) -> int:
    from bootwatch.service.kit import export
    from bootwatch.tell.kit_report import exported_report

    places: Places = arguments.places
    _require_rights(places)
    if not arguments.to:
        raise UsageProblem("Where to was not said.", "Name a folder, that of a stick, say: --to FOLDER")
    to = Path(arguments.to)
    made = export(places, to, by=who(), replace=arguments.yes, shell=arguments.with_shell)
    document = {
        "format": "bootwatch/exported/1",
        "kit": str(made.place),
        "files": made.files,
        "size": made.size,
        "about": made.about,
        "stick": _stick(places, to, made.shell),
    }
    check = f"sudo {as_called('baseline', arguments)} export --check {shlex.quote(str(made.place.resolve()))}"
    print(json.dumps(document, indent=1) if arguments.json else exported_report(document, check).rstrip())
    return 0


def _stick(places: Places, to: Path, shell: Shell | None) -> dict[str, Any] | None:
    """What was placed so that the stick starts, and whether this firmware would start it."""
    if shell is None:
        return None
    from bootwatch.service.stick_start import start_of

    return {"shell": str(shell.file), "as": shell.default_file, **start_of(places, to, shell)}


def _try_stick(arguments: argparse.Namespace) -> int:
    from bootwatch.service.stick_start import answer

    answer(arguments.places, arguments.stick)
    return 0


def _check(arguments: argparse.Namespace) -> int:
    """0 the kit brings back all that a kit can, 1 it doesn't, 3 that can't be told."""
    from bootwatch.service.kit_check import check, tried_on_newest
    from bootwatch.tell.kit_report import checked_report

    places: Places = arguments.places
    if arguments.tried is not None:
        found: dict[str, Any] | int = tried_on_newest(places, arguments.tried)
    else:
        _require_rights(places)
        found = check(places, Path(arguments.check).resolve(), as_json=arguments.json)
    if isinstance(found, int):
        return found
    print(json.dumps(found, indent=1) if arguments.json else checked_report(found).rstrip())
    return {True: 0, False: 1, None: 3}[found["back"]]


def _renew(arguments: argparse.Namespace) -> int:
    from bootwatch.service.kit import renew, start_elsewhere

    places: Places = arguments.places
    _require_rights(places)
    folder = Path(arguments.renew) if arguments.renew else None
    if folder and places.is_this_machine and _is_same_disk(folder, places.baseline):
        raise UsageProblem(
            f"{folder} lies on the machine's own disk, where a kit is kept anyway.",
            "Is the stick mounted? The folder is what bootwatch.yaml names as kit_to.",
        )
    made = renew(places, folder, by=who())
    print(f"The recovery kit {made.place} was made." if made else "The recovery kit is up to date.")
    if folder is None:
        start_elsewhere(places)
    return 0


def _is_same_disk(one: Path, other: Path) -> bool:
    try:
        return one.stat().st_dev == other.stat().st_dev
    except OSError:
        return False


def _require_rights(places: Places) -> None:
    """On the running machine baseline and spares are root's."""
    if places.is_this_machine and os.geteuid() != 0:
        raise UsageProblem("Recovery kits are made and checked with root's rights.", "Run it with sudo.")
