"""Damages machine roots at random and runs bootwatch's commands on each.

Usage: python -m tests.fuzz.machines.run COUNT [SEED]    prints figures as JSON; ends with 1 at the first
fault, whose seed makes the same root first again
"""

from __future__ import annotations

import collections
import contextlib
import io
import json
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from random import Random
from types import FrameType
from typing import Any

from bootwatch.cli.main import main as bootwatch
from bootwatch.observe.machine import Machine
from tests.fuzz.machines import checks
from tests.fuzz.machines.changes import CHANGES
from tests.fuzz.machines.checks import Finding
from tests.fuzz.machines.damaged_root import KIT, DamagedRoot, build
from tests.fuzz.machines.said import quietly

SECONDS = 5.0
# For what waits instead of working, on a computer that has other things to do besides.
_PATIENCE = 120.0
MEGABYTES = 150
_STATUSES = {0, 1, 2, 3, 4}
# Below the state.
_KIT, _FILE = KIT, "study.json"
_READING = (("drift", "--json"), ("routes", "--json"), ("drift",), ("routes",), ())
_SELDOM = (
    *(("rehearse",), ("rehearse", "--json"), ("restore",), ("restore", "--json"), ("selfcheck",)),
    *(("restore", "--without-baseline"), ("baseline", "show"), ("baseline", "show", "--json"), ("history",)),
    *(("baseline", "save", "--reason", "x", "--yes", "--accept-gaps"), ("baseline", "sheet", "--html")),
    *(("snapshot", "--moment", "asked", "--json"), ("baseline", "sheet", "--owner")),
    *(("baseline", "export", "--to", _KIT, "--yes"), ("baseline", "export", "--check", _KIT, "--json")),
    *(
        ("restore", "--kit", _KIT),
        ("restore", "--add-route", "Fernwick Linux"),
        ("restore", "--trial", "Quarry"),
    ),
    *(("alerts",), ("alerts", "--json"), ("snapshot", "--to", _FILE, "--yes")),
)
_RECORDING = (("snapshot", "--moment", "boot"), ("snapshot", "--moment", "shutdown", "--json"))


class _Failing(io.RawIOBase):
    """A disk image of which some bytes give an error."""

    def __init__(self, file: io.BufferedReader, bad: tuple[int, int]) -> None:
        self._file, self._bad = file, bad

    def seek(self, offset: int, whence: int = 0, /) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def read(self, size: int = -1, /) -> bytes:
        place = self._file.tell()
        if size < 0 or (place < self._bad[1] and place + size > self._bad[0]):
            raise OSError(5, "Input/output error")
        return self._file.read(size)

    def readinto(self, buffer: Any, /) -> int:
        data = self.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)

    def fileno(self) -> int:
        return self._file.fileno()


@contextlib.contextmanager
def _bad_sectors(root: DamagedRoot) -> Iterator[None]:
    """Disks fail where ``root.failing`` says."""
    real = Machine.open

    @contextlib.contextmanager
    def opened(machine: Machine, path: str) -> Iterator[Any]:
        bad = root.failing.get(path.removeprefix("dev/"))
        with real(machine, path) as file:
            yield _Failing(file, bad) if bad else file

    Machine.open = opened  # type: ignore[method-assign,assignment]
    try:
        yield
    finally:
        Machine.open = real  # type: ignore[method-assign]


class Endless(BaseException):
    """A command didn't end in time. No Exception: what is read of a machine may fail, and that is caught."""


def stop(number: int, _frame: FrameType | None) -> None:
    """What a timer leads to."""
    raise Endless(
        f"it waited for {_PATIENCE} s" if number == signal.SIGALRM else f"it worked for {SECONDS} s"
    )


def one(seed: int, root: DamagedRoot, template: Path, figures: collections.Counter[str]) -> None:
    """Damage the root in the way of ``seed``, look at it with some commands, and mend it."""
    random = Random(seed)
    root.fresh_state(template)
    try:
        for change in random.sample(CHANGES, k=random.choice((1, 1, 2, 3, 6))):
            change(random, root)
            figures[f"change {change.__name__}"] += 1
        commands: list[tuple[str, ...]] = [random.choice(_READING), random.choice(_RECORDING)]
        if random.random() < 0.25:
            commands.append(random.choice(_SELDOM))
        with _bad_sectors(root):
            for command in (("drift", "--json"), *commands):
                _play(command, root, figures)
        checks.board(root.path("run/bootwatch"))
        checks.messages(root.state / "spool")
    finally:
        root.mend()


def _play(command: tuple[str, ...], root: DamagedRoot, figures: collections.Counter[str]) -> None:
    words = [str(root.state / word) if word in (_KIT, _FILE) else word for word in command]
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.setitimer(signal.ITIMER_REAL, _PATIENCE)
    with quietly() as said:
        status = bootwatch(["--root", str(root.folder), "--state", str(root.state), *words])
    signal.setitimer(signal.ITIMER_REAL, 0)
    signal.setitimer(signal.ITIMER_PROF, 0)
    name = " ".join(command)
    figures[f"status {status}"] += 1
    checks.hold(status in _STATUSES, f"{name} ended with {status}")
    checks.hold("Traceback" not in said.err, f"{name}: {said.err}")
    for text in (said.out, said.err):
        checks.harmless(text, name)
    if command[-1:] == ("--json",) and said.out:
        document = json.loads(said.out)
        if command == ("drift", "--json") and "changes" in document:
            figures["gaps"] += bool(document["gaps"])
            figures["changes"] += bool(document["changes"])
            checks.nothing_hidden_is_missing(document, root.blind, root.touched)
    else:
        checks.short(said.out, name)


def main() -> int:
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1
    signal.signal(signal.SIGPROF, stop)
    signal.signal(signal.SIGALRM, stop)
    figures: collections.Counter[str] = collections.Counter()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(dir=_memory()) as folder:
        root = build(Path(folder))
        for number in range(count):
            try:
                one(seed + number, root, Path(folder) / "template", figures)
                _require_memory()
            except (Exception, Endless) as error:
                traceback.print_exc()
                print(f"seed {seed + number}: {type(error).__name__}: {error}")
                return 1
    print(json.dumps({"roots": count, "seconds": round(time.monotonic() - began), "megabytes": _peak()}))
    print(json.dumps(dict(sorted(figures.items()))))
    return 0


def _memory() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def _peak() -> int:
    """Megabytes. Not getrusage's, which counts what the process that started this one had, too."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:")) >> 10


def _require_memory() -> None:
    if _peak() > MEGABYTES:
        raise Finding(f"it took {_peak()} MB of memory")


if __name__ == "__main__":
    sys.exit(main())
