"""bootwatch without a command: the answer in three lines."""

from __future__ import annotations

import argparse
import os

from bootwatch.cli.drift import get
from bootwatch.cli.result import Result, newest, no_baseline, published, status
from bootwatch.config import Config
from bootwatch.keep.baseline import load_header
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.tell.age import age
from bootwatch.tell.phrases import moment, one_line
from bootwatch.tell.plain import plain


def run(arguments: argparse.Namespace) -> int:
    """Does each system start, what starts next, when was that last checked."""
    Config.load(arguments.places.config)
    result = _newest(arguments.places)
    facts = result.facts
    print(f"{plain(facts.machine)}: {plain(one_line(result.drift))}")
    print("next start: not worked out yet")
    if facts.snapshot is None:
        print("last checked: just now; nothing was recorded yet")
    else:
        print(f"last checked: {moment(facts.time)}, {age(facts.time)} (snapshot {facts.snapshot})")
    return status(result.drift)


def _newest(places: Places) -> Result:
    """The newest recorded comparison; where nothing was recorded, a look at the folder."""
    if places.is_this_machine and os.geteuid():
        return published(places)
    baseline = load_header(places.baseline)
    if baseline is None:
        raise no_baseline(places)
    row = newest(places)
    if row and row.drift:
        return Result.of_row(row, row.drift, baseline, recorded=True)
    if places.is_this_machine:
        raise MachineProblem(
            "No snapshot was compared with the baseline yet.", "Run: sudo bootwatch snapshot"
        )
    return get(places)
