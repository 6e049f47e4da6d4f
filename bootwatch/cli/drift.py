"""bootwatch drift: what differs from the baseline."""

from __future__ import annotations

import argparse
import contextlib
import os
from typing import Any

from bootwatch.cli.kit_option import go_by_kit, offer_kit
from bootwatch.cli.result import Result, newest, no_baseline, published, status
from bootwatch.cli.showing import is_only_published, not_allowed, offer, show
from bootwatch.cli.snapshot import UNTOLD
from bootwatch.config import Config
from bootwatch.keep.baseline import load_header
from bootwatch.keep.snapshot_file import open_file
from bootwatch.model.side import Source
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.service.ask import as_reader, ask_for_reading, must_ask
from bootwatch.service.between import Given, between
from bootwatch.service.read import look
from bootwatch.tell.board import document
from bootwatch.tell.report import Facts, drift_report


def add(commands: Any) -> None:
    command = commands.add_parser("drift", help="show how the machine differs from its baseline")
    command.add_argument(
        "--between",
        nargs=2,
        metavar=("A", "B"),
        help="compare two snapshots instead: numbers as in history (3, i1), or files",
    )
    offer_kit(command)
    command.add_argument("--called", nargs=2, help=argparse.SUPPRESS)
    offer(command, run)


def run(arguments: argparse.Namespace) -> int:
    if arguments.between:
        if arguments.kit:
            raise UsageProblem("--kit and --between don't go together.", "Leave one of them out.")
        return _run_between(arguments)
    go_by_kit(arguments)
    result = get(arguments.places, insist=arguments.now)
    show(result.to_json(), arguments, lambda: drift_report(result.drift, result.facts), result.recorded)
    return status(result.drift)


def get(places: Places, *, insist: bool = False) -> Result:
    """The drift: by the service for root, as the caller below another root, else the newest recorded."""
    if must_ask(places):
        return asked(places)
    if is_only_published(places) and not insist:
        return published(places)
    reading = look(places)
    if reading is None or reading.drift is None:
        raise no_baseline(places)
    return Result(reading.drift, reading.facts)


def asked(places: Places) -> Result:
    """A fresh reading by the service, compared; it tells nobody."""
    baseline = load_header(places.baseline)
    if baseline is None:
        raise no_baseline(places)
    Config.load(places.config)
    ask_for_reading(UNTOLD)
    row = newest(places)
    if row is None or row.drift is None:
        raise MachineProblem(
            "The reading gave no comparison.", "See: journalctl -u bootwatch-read@asked-untold -n 20"
        )
    return Result.of_row(row, row.drift, baseline)


def _run_between(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    if arguments.now:
        raise UsageProblem("--now and --between don't go together.", "--between compares what was taken.")
    names = arguments.called or arguments.between
    first, second = (Given(*both) for both in zip(names, arguments.between, strict=True))
    if must_ask(places):
        return _between_as_reader(first, second, arguments.json)
    _require_history(places, first, second)
    found = between(places, first, second)
    facts = Facts(found.sides[1].machine, found.sides[1].time, "", "", found.sides[1].number, found.sides)
    sides = [side.to_json() for side in found.sides]
    told = document(found.drift, facts) | {"baseline": None, "compared": sides}
    show(told, arguments, lambda: drift_report(found.drift, facts), is_recorded=False)
    return status(found.drift)


def _between_as_reader(first: Given, second: Given, as_json: bool) -> int:
    """Root parses nothing of what snapshots hold."""
    with contextlib.ExitStack() as stack:
        handed, descriptors = [], []
        for given in (first, second):
            if given.source is Source.FILE:
                file = stack.enter_context(open_file(given.file))
                descriptors.append(file.fileno())
            handed.append(f"/dev/fd/{file.fileno()}" if given.source is Source.FILE else given.name)
        command = ["drift", *(["--json"] if as_json else []), "--called", first.name, second.name]
        return as_reader([*command, "--between", *handed], descriptors)


def _require_history(places: Places, *sides: Given) -> None:
    """Raise MachineProblem when the caller may not read the history that a side lies in."""
    is_needed = any(side.source is not Source.FILE for side in sides)
    if is_needed and is_only_published(places) and not os.access(places.history, os.R_OK | os.X_OK):
        raise not_allowed("so does its history")
