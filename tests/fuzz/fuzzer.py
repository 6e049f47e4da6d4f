"""Starts processes of fuzzing side by side and says what they did."""

import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.corpus import kept
from tests.fuzz.seeds import SEEDS

ROOT = Path(__file__).parents[2]
WORKERS = min(4, os.cpu_count() or 1)
_LARGEST = 64 << 10


@dataclass(frozen=True)
class Report:
    """What all processes did together: inputs tried, and what they printed about faults ("" for none)."""

    inputs: int
    faults: str


def fuzz(name: str, folder: Path, *, seconds: int = 0, inputs: int = 0) -> Report:
    """Fuzz one format for a time, or with a number of inputs. Faults leave their input in `folder`."""
    start = folder / "start"
    start.mkdir(parents=True)
    for number, data in enumerate([*SEEDS[name](), *kept(name)]):
        (start / f"{number:05}").write_bytes(data)
    processes = [_start(name, folder, worker, seconds, inputs) for worker in range(WORKERS)]
    tried, faults = 0, ""
    for worker, process in enumerate(processes):
        status = process.wait()
        said = (folder / f"{worker}.log").read_text(errors="replace")
        done = re.search(r"^Done (\d+) runs", said, re.MULTILINE)
        tried += int(done[1]) if done else 0
        if status or not done:
            faults += f"{name}: ended with {status}; its input is in {folder}\n{_last(said)}\n"
    return Report(tried, faults)


def _start(name: str, folder: Path, worker: int, seconds: int, inputs: int) -> "subprocess.Popen[bytes]":
    found = folder / f"found-{worker}"
    found.mkdir()
    options = [
        f"-max_len={_LARGEST}",
        "-rss_limit_mb=1024",
        "-timeout=120",
        f"-seed={worker + 1}",
        f"-artifact_prefix={folder}/",
        *([f"-max_total_time={seconds}"] if seconds else []),
        *([f"-runs={-(-inputs // WORKERS)}"] if inputs else []),
    ]
    command = [sys.executable, "-m", "tests.fuzz.process", name, *options, found, folder / "start"]
    with (folder / f"{worker}.log").open("wb") as log:
        return subprocess.Popen(
            ["nice", *map(str, command)], cwd=ROOT, stdin=subprocess.DEVNULL, stdout=log, stderr=log
        )


def _last(said: str) -> str:
    """The traceback; without one, the last that was said. Never the input itself, which has a file."""
    found = re.search(r"=== Uncaught Python exception: ===\n(.*?)\n==\d+==", said, re.DOTALL)
    return found[1] if found else "\n".join(line[:200] for line in said.splitlines()[-20:])
