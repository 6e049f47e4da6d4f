"""Whole machines, damaged in many ways at once: no traceback, no end, nothing unread called missing."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.machines.run import Endless, stop

PROJECT = Path(__file__).parents[3]
ROOTS = 20_000
# A process for so many: what grows from root to root would be seen, and a fault is found before all are done.
BATCH = 1_000


def _start(count: int, seed: int) -> "subprocess.Popen[str]":
    command = ["nice", sys.executable, "-m", "tests.fuzz.machines.run", str(count), str(seed)]
    return subprocess.Popen(
        command,
        cwd=PROJECT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def _ended(process: "subprocess.Popen[str]") -> int:
    """How many roots it looked at."""
    said, _ = process.communicate()
    assert process.returncode == 0, said
    return int(json.loads(said.splitlines()[0])["roots"])


@pytest.mark.long
def test_some_roots() -> None:
    assert _ended(_start(40, int.from_bytes(os.urandom(4), "little"))) == 40


@pytest.mark.long
def test_an_end_that_never_comes_is_noticed() -> None:
    """Also where what fails is caught, as all is that is read of a machine."""
    with pytest.raises(Endless, match="it worked"):
        try:
            stop(signal.SIGPROF, None)
        except Exception:
            pytest.fail("it would go on")


@pytest.mark.whole
def test_twenty_thousand_roots() -> None:
    done = 0
    for seed in range(1, ROOTS, 2 * BATCH):
        done += sum(map(_ended, [_start(BATCH, seed), _start(BATCH, seed + BATCH)]))
    assert done == ROOTS
