"""Each of the firmware's variables costs firmware calls at every read(2): so one open and one read each."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from tests.roots import dual

PROJECT = Path(__file__).parents[2]
_OPEN = re.compile(r'openat\([^"]*"([^"]*)".* = (\d+)$')
_READ = re.compile(r"(?:p?read(?:64|v)?)\((\d+),")
# Files that were written just now are read in full each time: here they count as old.
_PROGRAM = """\
import sys
from bootwatch.observe import answers
from bootwatch.cli.main import main
answers._TICK = -1e6
sys.exit(main(["--root", sys.argv[1], "snapshot"]))
"""
_CLOSE = re.compile(r"close\((\d+)\)")


def _traced(root: Path, log: Path) -> tuple[Counter[str], Counter[str]]:
    """How often a snapshot opens each variable, and how often it reads of each."""
    command = [sys.executable, "-c", _PROGRAM, str(root)]
    calls = "trace=openat,read,pread64,readv,close"
    subprocess.run(
        ["strace", "-f", "-qq", "-s", "300", "-o", str(log), "-e", calls, *command],
        cwd=PROJECT,
        capture_output=True,
        check=True,
    )
    opened, read, at = Counter[str](), Counter[str](), dict[str, str]()
    for line in log.read_text().splitlines():
        call = line.partition(" ")[2].strip()
        if (found := _OPEN.match(call)) and "/efivars/" in found[1]:
            at[found[2]] = Path(found[1]).name
            opened[at[found[2]]] += 1
        elif (found := _READ.match(call)) and found[1] in at:
            read[at[found[1]]] += 1
        elif found := _CLOSE.match(call):
            at.pop(found[1], None)
    return opened, read


@pytest.mark.long
@pytest.mark.parametrize("reading", ["full", "next"])
def test_each_variable_is_opened_and_read_once(tmp_path: Path, reading: str) -> None:
    root = dual(tmp_path / "root")
    root.variable("db", bytes(40_000), guid="d719b2cb-3d3a-4596-a3bc-dad00e67656f")  # longer than one page
    variables = sorted(path.name for path in (root.folder / "sys/firmware/efi/efivars").iterdir())
    for _ in range(1 if reading == "full" else 2):
        opened, read = _traced(root.folder, tmp_path / "log")
    assert opened == read == Counter(variables)
    assert ("/bootwatch/judge/" in (tmp_path / "log").read_text()) is (reading == "full")
