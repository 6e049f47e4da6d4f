"""What a bench found: a ratio, the reference that it is held against, and how large it may be."""

from __future__ import annotations

import os
import statistics
import subprocess
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """``ours`` and ``theirs`` with their unit, for people. ``most`` is the limit of ``ratio``; None where
    there is none, and the figure is shown for comparison."""

    what: str
    ours: str
    reference: str
    theirs: str
    ratio: float
    most: float | None

    @property
    def is_within(self) -> bool:
        return self.most is None or self.ratio <= self.most

    def cells(self) -> tuple[str, ...]:
        limit = "" if self.most is None else f"{self.most:g}"
        verdict = "" if self.most is None else ("ok" if self.is_within else "TOO MUCH")
        return self.what, self.ours, self.reference, self.theirs, f"{self.ratio:.2f}", limit, verdict


HEADINGS = ("what", "ours", "reference", "theirs", "ratio", "limit", "")


def table(figures: Sequence[Figure]) -> str:
    rows = [HEADINGS, *(figure.cells() for figure in figures)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def wall(command: Sequence[str]) -> float:
    """Seconds until a command has ended well."""
    began = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def processor(command: Sequence[str]) -> float:
    """Seconds of processor time, user and system, that a command takes with its children."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{command} ended with {process.returncode}")
    return usage.ru_utime + usage.ru_stime


def in_turn(
    ours: Callable[[], float], theirs: Callable[[], float], rounds: int
) -> tuple[float, float, float]:
    """The medians of both, and of their ratio in each round: what slows one down slows the other, too."""
    pairs = [(ours(), theirs()) for _ in range(rounds)]
    medians = [statistics.median(times) for times in zip(*pairs, strict=True)]
    return medians[0], medians[1], statistics.median(mine / other for mine, other in pairs)


def milliseconds(seconds: float) -> str:
    return f"{seconds * 1e3:.0f} ms"
