"""bootwatch alerts: what people were told, who was told when, and how it ended."""

from __future__ import annotations

import argparse
import datetime
import json
import os
import sys
from typing import Any

from bootwatch.cli import alerts_test
from bootwatch.cli.result import no_baseline
from bootwatch.cli.showing import Document, is_only_published, left_by_reader, not_allowed
from bootwatch.cli.snapshot import require_rights
from bootwatch.keep.baseline import load_header
from bootwatch.model.instant import written
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.until import until
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import moment
from bootwatch.tell.plain import plain

_PAST = 5
_WIDTH = 80


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "alerts",
        help="what people were told, who was told when, and how it ended",
        description="Shows the open alert and past ones: what each is about, who was told of it when, by "
        "which address, and who could not be told. Exit status: 1 an alert is open, 0 none is, 4 there is no "
        "baseline to be alerted by.",
    )
    command.add_argument("--all", action="store_true", help=f"all past ones, not only the newest {_PAST}")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)
    parts = command.add_subparsers(metavar="quiet|test")
    _add_quiet(parts)
    alerts_test.add(parts)


def _add_quiet(parts: Any) -> None:
    quiet = parts.add_parser(
        "quiet",
        help="send no reminders of an open alert for a while",
        description="Sends no reminders of an open alert before a time. That it grew worse, or is over, is "
        "told all the same.",
    )
    quiet.add_argument("name", metavar="ID", help="the alert, as bootwatch alerts calls it (a3)")
    quiet.add_argument(
        "--until",
        required=True,
        metavar="TIME",
        help="a date (2026-12-24), with a time (2026-12-24 18:00), a span (12h, 3d, 2w), or now",
    )
    quiet.add_argument("--json", action="store_true", help="as JSON")
    quiet.set_defaults(run=run_quiet)


def run(arguments: argparse.Namespace) -> int:
    from bootwatch.tell.alerts_report import alerts_report

    places: Places = arguments.places
    document = _document(places, None if arguments.all else _PAST)
    print(json.dumps(document, indent=1) if arguments.json else alerts_report(document), end="")
    if arguments.json:
        print()
    if any(one["ended"] is None for one in document["alerts"]):
        return 1
    try:
        if _has_baseline(places, is_whole=document["whole"]):
            return 0
        raise no_baseline(places)
    except Problem as problem:
        if not arguments.json:
            raise
        # One document is out already.
        print(f"bootwatch: {plain(problem.message)}\n{plain(problem.hint)}", file=sys.stderr)
        return problem.status


def _document(places: Places, past: int | None) -> Document:
    from bootwatch.service.alerts import published, recorded

    if is_only_published(places) and not os.access(places.history, os.R_OK | os.X_OK):
        document = published(places)
        if document is None:
            raise not_allowed()
        return document
    return recorded(places, past)


def _has_baseline(places: Places, *, is_whole: bool) -> bool:
    if is_whole:
        return load_header(places.baseline) is not None
    left = left_by_reader(places, "drift.json")
    return left is not None and left.get("baseline") is not None


def run_quiet(arguments: argparse.Namespace) -> int:
    """Raises UsageProblem for a time that is past or an alert that isn't open."""
    from bootwatch.service.alerts import make_quiet

    places: Places = arguments.places
    end = until(arguments.until, datetime.datetime.now().astimezone().replace(microsecond=0))
    if must_ask(places):
        own = ["--json"] if arguments.json else []
        return as_reader(["alerts", "quiet", *own, "--until", arguments.until, "--", arguments.name])
    require_rights(places)
    time = written(end) if end else ""
    make_quiet(places, arguments.name, time)
    if arguments.json:
        document = {"format": "bootwatch/quiet/1", "alert": arguments.name, "quiet_until": time or None}
        print(json.dumps(document, indent=1))
        return 0
    print("\n".join(wrapped(_said(arguments.name, time), _WIDTH)))
    return 0


def _said(name: str, time: str) -> str:
    if not time:
        return f"{name} is reminded of again."
    return (
        f"Nobody is reminded of {name} before {moment(time)}. "
        "That it grew worse, or is over, is told all the same; worse news ends the quiet."
    )
