"""bootwatch watch: stay, and have the machine read whenever something changed."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from bootwatch.config import Config
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, Problem, UsageProblem
from bootwatch.service.watch_notify import notify, status
from bootwatch.tell.plain import plain

_SYSTEMD = Path("/run/systemd/system")
_PROGRAM = (
    "import sys; sys.path.insert(0, sys.argv[1]); "
    "from bootwatch.service.watch import main; sys.exit(main(sys.argv[2:]))"
)


def add(commands: Any) -> None:
    command = commands.add_parser("watch", help="stay, and have a reading taken whenever something changed")
    command.add_argument(
        "--check-settings", action="store_true", help="only say whether the settings are right"
    )
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    if arguments.check_settings:
        return _check_settings(places)
    import watchdog  # noqa: F401  (where it isn't, this says so)

    # Begun anew as a process that holds nothing but the watch: what commands load would stay in memory.
    library = str(Path(__file__).resolve().parents[2])
    command = [sys.executable, "-I", "-c", _PROGRAM, library, str(places.root.resolve()), *_reading(places)]
    sys.stdout.flush()
    os.execv(command[0], command)


def _check_settings(places: Places) -> int:
    """What a reload does first: with a mistake it ends here, and the settings from before hold."""
    try:
        Config.load(places.config)
    except Problem as problem:
        notify(status(f"The settings from before hold. {plain(problem.message, 900)}"))
        raise
    return 0


def _reading(places: Places) -> list[str]:
    """How a reading is had: the folder for requests to the system manager; or "" and a command of our own."""
    if not places.is_this_machine or not _SYSTEMD.is_dir():
        usual = ["--root", str(places.root), "--state", str(places.state), "--config", str(places.config)]
        return ["", *(usual if not places.is_this_machine else ()), "snapshot", "--moment", "watch"]
    if places != Places.below(places.root):
        raise UsageProblem(
            "For this machine readings are taken by the service, in its usual places.",
            "Leave out --state and --config; or watch a copy of the machine with --root.",
        )
    folder = Path("/run/bootwatch/watch")
    if not os.access(folder, os.W_OK):
        raise MachineProblem(
            f"No reading can be asked for: {folder} isn't there, or you may not write in it.",
            "Install bootwatch: sudo ./packaging/install. Then the unit bootwatch-watch.service runs this.",
        )
    return [str(folder)]
