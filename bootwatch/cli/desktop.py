"""bootwatch desktop: show the open alert to whoever is logged in."""

from __future__ import annotations

import argparse
from typing import Any


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "desktop",
        help="show an open alert on this desktop, and follow it; run by its own service",
        description="Shows what is open as a notification, in the owner's words, until the session ends. "
        "It needs no rights, and reads /run/bootwatch only.",
    )
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises MachineProblem where there is no session to show anything in."""
    # Here, because no other command needs the bus.
    from bootwatch.service.desktop import follow

    return follow(arguments.places)
