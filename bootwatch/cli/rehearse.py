"""bootwatch rehearse: what would still start if one thing were lost, and what would help beforehand."""

from __future__ import annotations

import argparse
from typing import Any

from bootwatch.cli.result import newest
from bootwatch.cli.showing import (
    Document,
    is_all_unread,
    left_by_reader,
    look_or_published,
    not_allowed,
    offer,
)
from bootwatch.cli.snapshot import REHEARSAL
from bootwatch.config import Config
from bootwatch.model.gap import Gap
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.read import observed


def add(commands: Any) -> None:
    command = commands.add_parser(
        "rehearse",
        help="show what would still start if one thing were lost",
        description="Goes through every single loss (each entry, file, folder, volume and disk, the boot "
        "order, all entries) and says what would start then. It reads only: nothing is changed.",
    )
    offer(command, run)


def run(arguments: argparse.Namespace) -> int:
    return status(look_or_published(arguments, _looked, _published, _report))


def _report(document: Document) -> str:
    from bootwatch.tell.rehearsal_report import rehearsal_report

    return rehearsal_report(document)


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
        raise not_allowed("nothing was rehearsed yet")
    return document


def published_rehearsal(places: Places) -> Document | None:
    """What the reader left for everybody to read, None where it left nothing."""
    document = left_by_reader(places, "rehearsal.json")
    return document if document and "snapshot" in document else None


def status(document: Document) -> int:
    """3 where too little could be read to say whether each system starts even now; else 0."""
    is_unread = is_all_unread(map(Gap.from_json, document["gaps"]))
    return 3 if is_unread or any(system["starts"] is None for system in document["systems"]) else 0
