"""bootwatch machine-key: the key by which this machine's mails are proven."""

from __future__ import annotations

import argparse
import json
from typing import Any


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "machine-key",
        help="the key by which a roll call knows this machine's mails",
        description="Shows the public half, which anybody may know. What is sent in this machine's name is "
        "proven for whoever has it in the list of known machines (see: bootwatch rollcall --help).",
    )
    command.add_argument("--make", action="store_true", help="make a key where there is none")
    command.add_argument("--json", action="store_true", help="show it as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises Problem where there is no key to show, or none can be made."""
    from bootwatch.service.machine_key import make, public

    key = make(arguments.places) if arguments.make else public(arguments.places)
    if arguments.json:
        print(json.dumps({"format": "bootwatch/machine-key/1", "key": key}, indent=1))
    else:
        print(f"This machine's mails are signed; its public key: {key}")
    return 0
