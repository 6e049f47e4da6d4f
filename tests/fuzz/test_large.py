"""Disks and programs of 16 MiB, or sparse ones of any size, cost less than a second and 100 MB."""

import subprocess
import sys

import pytest

from tests.fuzz.fuzzer import ROOT
from tests.fuzz.large import CASES
from tests.fuzz.limits import MEGABYTES, SECONDS


@pytest.mark.long
@pytest.mark.parametrize(("name", "case"), [(name, case) for name, cases in CASES.items() for case in cases])
def test_a_second_and_100_mb(name: str, case: str) -> None:
    command = [sys.executable, "-m", "tests.fuzz.large", name, case]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    seconds, megabytes = map(float, done.stdout.split())
    assert seconds < SECONDS
    assert megabytes < MEGABYTES
