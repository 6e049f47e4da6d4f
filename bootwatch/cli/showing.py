"""What the commands that show a reading have in common."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterable
from typing import Any

from bootwatch.model.gap import Gap
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.left import left_for_all
from bootwatch.tell.age import age

Document = dict[str, Any]
Run = Callable[[argparse.Namespace], int]
Get = Callable[[Places], Document]


def offer(command: argparse.ArgumentParser, run: Run) -> None:
    """Give a command the options that all of them have."""
    command.add_argument(
        "--now", action="store_true", help="look now, even without the rights to see everything"
    )
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def is_only_published(places: Places) -> bool:
    """Whether the caller may only see what the reader left for everybody."""
    return places.is_this_machine and os.geteuid() != 0


def show(
    document: Document, arguments: argparse.Namespace, report: Callable[[], str], is_recorded: bool
) -> None:
    """As JSON where that was asked for, else as the report. ``is_recorded``: it was not looked at now."""
    if arguments.json:
        print(json.dumps(document, indent=1))
        return
    if is_recorded:
        when = age(str(document["time"]))
        print(f"Recorded {when}, not looked at now: that takes sudo.\n", file=sys.stderr)
    print(report(), end="")


def look_or_published(
    arguments: argparse.Namespace, look: Get, published: Get, report: Callable[[Document], str]
) -> Document:
    """Show what ``look`` gives, or what was published to somebody who may not look; and give it back."""
    places: Places = arguments.places
    is_recorded = is_only_published(places) and not arguments.now
    document = published(places) if is_recorded else look(places)
    show(document, arguments, lambda: report(document), is_recorded)
    return document


def left_by_reader(places: Places, name: str) -> Document | None:
    """What the reader left for everybody to read; None where it left nothing that can be read."""
    document = left_for_all(places, name)
    return document | {"time": str(document["time"])} if document and "time" in document else None


def not_allowed(missing: str = "nothing was recorded yet") -> MachineProblem:
    """What to say to somebody who may not read the machine, where the reader left nothing."""
    return MachineProblem(
        f"Reading this machine needs rights that you don't have, and {missing}.", "Run it with sudo."
    )


def is_all_unread(gaps: Iterable[Gap]) -> bool:
    """Whether the machine as such couldn't be read: its variables or its list of disks."""
    return any(gap.name == "*" for gap in gaps)
