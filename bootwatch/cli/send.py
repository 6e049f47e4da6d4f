"""bootwatch send: deliver what is spooled."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bootwatch.service.send import Sent


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    parser = commands.add_parser(
        "send",
        help="deliver what is to be told; run by its own service",
        description="Delivers the messages in the spool to those in addresses.yaml and keeps receipts. "
        "Exit status: 0 nothing is left, 1 something must be tried again, 2 a mistake in the addresses.",
    )
    parser.add_argument("--json", action="store_true", help="show what became of each as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises Problem where nothing can be sent."""
    # Here, because mail and encryption take long to import and no other command needs them.
    from bootwatch.service.send import deliver_spooled, send

    if not arguments.json:
        return send(arguments.places)
    sent = deliver_spooled(arguments.places)
    print(json.dumps(_document(sent), indent=1))
    return 1 if sent.left else 0


def _document(sent: Sent) -> dict[str, Any]:
    deliveries = [
        {
            "address": one.task.address.name,
            "snapshot": one.task.message.snapshot,
            "outcome": one.outcome.result.value,
            "why": one.outcome.why,
            "final": one.outcome.final,
        }
        for one in sent.deliveries
    ]
    return {"format": "bootwatch/sent/1", "deliveries": deliveries, "left": sent.left}
