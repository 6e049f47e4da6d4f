"""The watch's reading, a person's snapshot and a new baseline at the same moment."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from bootwatch.keep import baseline as baselines
from bootwatch.keep.history import History
from bootwatch.model.alert import Kind
from bootwatch.places import Places
from tests.cli.commands import Commands, quarry_updates

pytestmark = pytest.mark.long


def test_nothing_is_damaged_or_doubled(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    command = [sys.executable, "-P", "-m", "bootwatch.cli", "--root", str(bootwatch.root.folder)]
    tasks = [
        ["snapshot", "--moment", "watch"],
        ["snapshot"],
        ["baseline", "save", "--reason", "as it is", "--yes"],
        ["snapshot", "--moment", "watch"],
        ["drift"],
    ]
    quiet = {"stdout": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
    running = [subprocess.Popen([*command, *task], **quiet) for task in tasks]  # type: ignore[call-overload]
    *recorded, drift = [process.wait() for process in running]
    assert recorded == [0, 0, 0, 0] and drift in (0, 1)

    places = Places.below(bootwatch.root.folder)
    found = baselines.load(places.baseline, None)
    assert found and found.reason == "as it is"
    with History.look(places.history) as history:
        assert history
        # The first baseline's, the one of the new one, and three by the way: each once.
        assert sorted(row.number for row in history.rows()) == [1, 2, 3, 4, 5]
        assert all(history.snapshot(number).state == found.state for number in (2, 3, 4, 5))
    # Who came first decides whether there was something to tell. It is told once, and once that it is over.
    kinds = sorted(json.loads(path.read_text())["kind"] for path in places.spool.glob("*.json"))
    assert kinds in ([], [Kind.NEWS], [Kind.ALL_CLEAR, Kind.NEWS]), kinds
    assert bootwatch("drift").status == 0
