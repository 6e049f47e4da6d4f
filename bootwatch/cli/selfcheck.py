"""bootwatch selfcheck: whether bootwatch itself works."""

from __future__ import annotations

import argparse
import json
from typing import Any

from bootwatch.model.checkup import State


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "selfcheck",
        help="whether bootwatch itself works: what is wrong and how to mend it",
        description="Looks at settings, addresses, deliveries, the last reading, the baseline and the units. "
        "Some of it takes sudo to see. Exit status: 0 nothing is wrong, 1 something is.",
    )
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    # Here, because looking at addresses takes long to import.
    from bootwatch.service.gather import gather
    from bootwatch.service.selfcheck import checked
    from bootwatch.tell.selfcheck_report import selfcheck_report

    checks = checked(gather(arguments.places))
    if arguments.json:
        document = {"format": "bootwatch/selfcheck/1", "checks": [check.to_json() for check in checks]}
        print(json.dumps(document, indent=1))
    else:
        print(selfcheck_report(checks), end="")
    return 1 if any(check.state is State.WRONG for check in checks) else 0
