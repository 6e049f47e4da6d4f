"""Power cuts while old snapshots are dropped: all of these are gone or none, and the next reading goes on."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from bootwatch.keep import soundness
from bootwatch.keep.history import History
from bootwatch.keep.prune import prune
from tests import strace
from tests.keep.test_prune import KEEP, prune_all, record

PRUNE = f"""
import sys, pathlib
from bootwatch.keep.history import History
from bootwatch.keep.prune import prune
with History.open(pathlib.Path(sys.argv[1])) as history:
    prune(history, {KEEP})
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A history of thirty snapshots, more than are kept."""
    with History.open(tmp_path / "before") as history:
        for boot in range(1, 31):
            record(history, boot, boot)
    return tmp_path


def left(folder: Path) -> int:
    """How many snapshots are there after a power cut; all that is there is whole."""
    with History.open(folder) as history:
        number = len(history.rows())
        assert list(soundness.faults(history)) == []
    with History.open(folder) as history:
        # The next readings.
        prune_all(history)
        assert [row.number for row in history.rows()] == list(range(30, 18, -1))
        assert prune(history, KEEP) == 0
    return number


def at(folder: Path, share: list[int] | None = None) -> set[int]:
    """What is left after a cut at each call by which something changes, or at some of them."""
    now, log = folder / "now", folder / "calls"
    command = [sys.executable, "-B", "-c", PRUNE, str(now)]
    shutil.copytree(folder / "before", now)
    (spots,) = strace.spots(command, log).values()
    assert {"pwrite64", "fdatasync"} <= {call for call, _ in spots}
    found = set()
    for spot in [spots[place] for place in share] if share else spots:
        shutil.rmtree(now)
        shutil.copytree(folder / "before", now)
        assert strace.cut_off(command, spot)
        found.add(left(now))
    return found


@pytest.mark.long
def test_power_cut_while_old_ones_are_dropped(folder: Path) -> None:
    """At the first call and one on the way nothing has gone. At the last the journal has, which ends it."""
    assert at(folder, [0, 3, -1]) == {30, 22}


@pytest.mark.whole
def test_power_cut_at_every_call(folder: Path) -> None:
    assert at(folder) == {30, 22}
