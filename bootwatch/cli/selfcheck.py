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
        description="Looks at settings, addresses, deliveries, the last reading, the history, the baseline, "
        "its spares, the recovery kit, the units, and who owns which file. Changes nothing. "
        "Some of it takes sudo to see. Exit status: 0 nothing is wrong, 1 something is.",
        epilog="Each record in the history holds a digest of itself and of the one before. So damage is "
        "found: a bit that turned over, a record that was lost, a database that was put back half. It proves "
        "no more: whoever may write the database can write it anew as a whole. What was told is in the mails "
        "that were sent, and what is called good is in the baseline, which the reader can't write.",
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
