"""Looks at a machine root while strace puts a fault into one exact system call."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State

_PROJECT = Path(__file__).resolve().parents[2]
_LIMIT = 60


def _child(root: Path, named: tuple[str, ...]) -> list[str]:
    return [sys.executable, "-m", "tests.observe.child", str(root), *named]


def _snapshot(printed: str) -> Snapshot:
    document = json.loads(printed)
    circumstance = Circumstance(None, Moment.ASKED, "", mounts=document["mounts"])
    gaps = tuple(Gap.from_json(item) for item in document["gaps"])
    return Snapshot(circumstance, State.from_parts(document["parts"]), gaps)


def look_with_fault(root: Path, path: Path, fault: str, named: tuple[str, ...] = ()) -> Snapshot:
    """One look with ``fault`` (strace's inject= expression) in the calls that concern ``path``."""
    call = fault.partition(":")[0]
    strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-P", str(path), "-e", f"trace={call}"]
    command = [*strace, "-e", f"inject={fault}", *_child(root, named)]
    done = subprocess.run(command, cwd=_PROJECT, capture_output=True, text=True, timeout=_LIMIT, check=False)
    assert done.returncode == 0, done.stderr
    return _snapshot(done.stdout)


def count_calls(root: Path, path: Path, call: str, named: tuple[str, ...] = ()) -> int:
    """How many of these calls concern ``path`` during one look."""
    command = ["strace", "-f", "-qq", "-P", str(path), "-e", f"trace={call}", *_child(root, named)]
    done = subprocess.run(command, cwd=_PROJECT, capture_output=True, text=True, timeout=_LIMIT, check=True)
    return len(re.findall(rf"\b{call}\(", done.stderr))


def look_interrupted(root: Path, path: Path, call: str, when: int, meanwhile: Callable[[], None]) -> Snapshot:
    """One look that is held at one exact call while ``meanwhile`` happens."""
    fault = f"inject={call}:signal=SIGSTOP:when={when}"
    strace = ["strace", "-f", "-P", str(path), "-e", f"trace={call}", "-e", fault]
    process = subprocess.Popen(
        [*strace, *_child(root, ())], cwd=_PROJECT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    try:
        held = next((line for line in process.stderr if "stopped by SIGSTOP" in line), None)
        assert held, f"the look never came to its {when}th {call} of {path}"
        meanwhile()
        _go_on(process.pid)
        printed, complaints = process.communicate(timeout=_LIMIT)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 0, complaints
    return _snapshot(printed)


def _go_on(strace: int) -> None:
    children = Path(f"/proc/{strace}/task/{strace}/children").read_text().split()
    for child in children:
        os.kill(int(child), signal.SIGCONT)


def as_somebody() -> list[str]:
    """What to put before a command so that it runs without root's rights."""
    if os.geteuid():
        return []
    return ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "--inh-caps=-all"]


def look_as_somebody(root: Path, named: tuple[str, ...] = ()) -> Snapshot:
    """One look without root's rights."""
    command = [*as_somebody(), *_child(root, named)]
    environment = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        command, cwd=_PROJECT, capture_output=True, text=True, timeout=_LIMIT, check=False, env=environment
    )
    assert done.returncode == 0, done.stderr
    return _snapshot(done.stdout)
