"""The sheets of a baseline, with what the settings say of the owner."""

from __future__ import annotations

import sys

from bootwatch.config import Config
from bootwatch.keep.baseline import Baseline
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.tell.plain import plain
from bootwatch.tell.sheet import sheets
from bootwatch.tell.sheet_ways import Held


def sheets_for(places: Places, baseline: Baseline, held: Held | None = None) -> dict[str, bytes]:
    """By their names in a kit. A mistake in the settings is said, and what they tell is left open then: a kit
    must not fail for it."""
    try:
        config = Config.load(places.config)
    except UsageProblem as problem:
        print(f"bootwatch: {plain(problem.message, 4000)}", file=sys.stderr)
        config = Config()
    return sheets(baseline, config.care, config.recovery_key_at, held)
