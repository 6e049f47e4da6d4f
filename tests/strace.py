"""Commands that are killed, or made to fail, at one exact system call."""

from __future__ import annotations

import signal
import subprocess
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1]
# All by which a process changes anything.
CALLS = "write,pwrite64,rename,renameat2,unlink,unlinkat,mkdir,mkdirat,rmdir,ftruncate,fsync,fdatasync"
_LIMIT = 120

Spot = tuple[str, int]
"""A system call and which one of its kind: strace counts each kind for itself, and each thread's own."""


def spots(command: Sequence[str], log: Path, *, made: bool = False) -> dict[str, list[Spot]]:
    """All such calls of a command that nobody stops, in their order, by thread; the first is the one that it
    begins with. ``made``: and each file that is made."""
    strace = ["strace", "-f", "-qq", "-o", str(log), "-e", f"trace={CALLS}{',openat' if made else ''}"]
    done = _run([*strace, "-e", "signal=none", *command])
    assert done.returncode == 0, done.stderr
    count: Counter[tuple[str, str]] = Counter()
    found: dict[str, list[Spot]] = {}
    for line in log.read_text().splitlines():
        thread, _, what = line.partition(" ")
        call, is_call, _ = what.strip().partition("(")
        if is_call and not call.startswith("<"):
            count[thread, call] += 1
            if call != "openat" or "O_CREAT" in what:
                found.setdefault(thread, []).append((call, count[thread, call]))
    return found


def cut_off(command: Sequence[str], spot: Spot) -> bool:
    """Kill a command as one of its threads begins that call; whether it came that far."""
    call, when = spot
    done = failing(command, f"{call}:signal=KILL:when={when}")
    return done.returncode == -signal.SIGKILL


def failing(command: Sequence[str], fault: str, *paths: Path) -> subprocess.CompletedProcess[str]:
    """Run a command with a ``fault`` (strace's inject= expression); where ``paths`` are named, in the calls
    that concern one of them."""
    call = fault.partition(":")[0]
    strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}"]
    only = [word for path in paths for word in ("-P", str(path))]
    return _run([*strace, *only, "-e", f"inject={fault}", *command])


def _run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=PROJECT, stdin=subprocess.DEVNULL, capture_output=True, text=True,
        timeout=_LIMIT, check=False,
    )  # fmt: skip
