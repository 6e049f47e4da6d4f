"""bootwatch routes: what starts next, and every system with the routes by which it can be reached."""

from __future__ import annotations

import argparse
from typing import Any

from bootwatch.cli.kit_option import go_by_kit, offer_kit
from bootwatch.cli.result import newest
from bootwatch.cli.showing import (
    Document,
    is_all_unread,
    left_by_reader,
    look_or_published,
    not_allowed,
    offer,
)
from bootwatch.cli.snapshot import UNTOLD
from bootwatch.config import Config
from bootwatch.keep.history import Row
from bootwatch.model.gap import Gap
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.ahead import record_of, with_record
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.read import look_with_routes
from bootwatch.tell.routes_report import routes_report


def add(commands: Any) -> None:
    command = commands.add_parser(
        "routes", help="show what starts next, and by which routes each system can be started"
    )
    offer(command, run)
    offer_kit(command)


def run(arguments: argparse.Namespace) -> int:
    go_by_kit(arguments)
    return status(look_or_published(arguments, _looked, published_routes, routes_report))


def _looked(places: Places) -> Document:
    """By the service for root, else as the caller."""
    if not must_ask(places):
        return look_with_routes(places).routes
    Config.load(places.config)
    ask_for_reading(UNTOLD)
    row = newest(places)
    document = recorded_routes(places, row) if row else None
    if document is None:
        raise MachineProblem(
            "The reading says nothing of routes.", "See: journalctl -u bootwatch-read@asked-untold -n 20"
        )
    return document


def recorded_routes(places: Places, row: Row) -> Document | None:
    """What a recorded snapshot says; None for one of before routes were worked out."""
    document = row.overview.get("routes")
    if document is None:
        return None
    machine = str(row.overview.get("machine") or "this machine")
    return with_record(
        document, machine=machine, snapshot=row.number, time=row.time, record=record_of(places)
    )


def published_routes(places: Places) -> Document:
    """What the reader left for everybody to read. Raises MachineProblem where it left nothing."""
    document = left_by_reader(places, "routes.json")
    if document is None:
        raise not_allowed()
    return document


def status(document: Document) -> int:
    """1 a system doesn't start, or nothing starts next; 3 that could not be told; else 0."""
    following = document["next_start"]
    verdicts = [system["starts"] for system in document["systems"]]
    is_nothing = following["by"] == "nothing" and following["certain"]
    if False in verdicts or is_nothing:
        return 1
    all_unread = is_all_unread(map(Gap.from_json, document["gaps"]))
    return 3 if None in verdicts or all_unread or not _is_known(following) else 0


def _is_known(following: Document) -> bool:
    """Whether what starts next is known but for a free choice of the firmware's."""
    return bool(following["certain"] or following["outcome"] == "starts")
