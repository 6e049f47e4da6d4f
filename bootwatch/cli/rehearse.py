"""bootwatch rehearse: what would still start if one thing were lost, and what would help beforehand."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from bootwatch.cli.result import newest
from bootwatch.cli.routes import is_only_published
from bootwatch.cli.snapshot import REHEARSAL
from bootwatch.config import Config
from bootwatch.model.gap import Gap
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.read import observed
from bootwatch.tell.age import age

Document = dict[str, Any]


def add(commands: Any) -> None:
    command = commands.add_parser(
        "rehearse",
        help="show what would still start if one thing were lost",
        description="Goes through every single loss (each entry, file, folder, volume and disk, the boot "
        "order, all entries) and says what would start then. It reads only: nothing is changed.",
    )
    command.add_argument(
        "--now", action="store_true", help="look now, even without the rights to see everything"
    )
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    recorded = is_only_published(places) and not arguments.now
    document = _published(places) if recorded else _looked(places)
    if arguments.json:
        print(json.dumps(document, indent=1))
        return status(document)
    if recorded:
        when = age(str(document["time"]))
        print(f"Recorded {when}, not looked at now: that takes sudo.\n", file=sys.stderr)
    from bootwatch.tell.rehearsal_report import rehearsal_report

    print(rehearsal_report(document), end="")
    return status(document)


def _looked(places: Places) -> Document:
    """By the service for root, else as the caller."""
    if not must_ask(places):
        from bootwatch.service.rehearse import rehearsed

        return rehearsed(observed(places), Config.load(places.config))
    Config.load(places.config)
    ask_for_reading(REHEARSAL)
    row, document = newest(places), published_rehearsal(places)
    if document is None or row is None or document["snapshot"] != row.number:
        raise MachineProblem(
            "The reading left no rehearsal.", f"See: journalctl -u bootwatch-read@{REHEARSAL} -n 20"
        )
    return document


def _published(places: Places) -> Document:
    document = published_rehearsal(places)
    if document is None:
        raise MachineProblem(
            "Reading this machine needs rights that you don't have, and nothing was rehearsed yet.",
            "Run it with sudo.",
        )
    return document


def published_rehearsal(places: Places) -> Document | None:
    """What the reader left for everybody to read, None where it left nothing."""
    if places.run is None:
        return None
    try:
        document: Document = json.loads((places.run / "rehearsal.json").read_bytes())
        return document | {"time": str(document["time"]), "snapshot": document["snapshot"]}
    except (OSError, ValueError, KeyError, TypeError):
        return None


def status(document: Document) -> int:
    """3 where too little could be read to say whether each system starts even now; else 0."""
    is_unread = any(Gap.from_json(item).name == "*" for item in document["gaps"])
    return 3 if is_unread or any(system["starts"] is None for system in document["systems"]) else 0
