"""bootwatch drift: what differs from the baseline."""

from __future__ import annotations

import argparse
from typing import Any

from bootwatch.cli.result import Result, newest, no_baseline, published, status
from bootwatch.cli.showing import is_only_published, offer, show
from bootwatch.cli.snapshot import UNTOLD
from bootwatch.config import Config
from bootwatch.keep.baseline import load_header
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.read import look
from bootwatch.tell.report import drift_report


def add(commands: Any) -> None:
    command = commands.add_parser("drift", help="show how the machine differs from its baseline")
    offer(command, run)


def run(arguments: argparse.Namespace) -> int:
    result = get(arguments.places, insist=arguments.now)
    show(result.to_json(), arguments, lambda: drift_report(result.drift, result.facts), result.recorded)
    return status(result.drift)


def get(places: Places, *, insist: bool = False) -> Result:
    """The drift: by the service for root, as the caller below another root, else the newest recorded."""
    if must_ask(places):
        return _asked(places)
    if is_only_published(places) and not insist:
        return published(places)
    reading = look(places)
    if reading is None or reading.drift is None:
        raise no_baseline(places)
    return Result(reading.drift, reading.facts)


def _asked(places: Places) -> Result:
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
