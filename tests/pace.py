"""Limits on processor time that hold on any computer.

Processor time is no constant: a neighbour on the same processor, a slower model or a warm day make the
same work take twice as long. So what is measured is divided by how much longer a fixed piece of work takes
here, just before and just after, than where the limits were set. What grows faster than it should shows.
"""

from __future__ import annotations

import struct
import time

# Seconds of processor time that the work takes there.
_THERE = 0.02


class Stopwatch:
    """Counts from when it is made."""

    def __init__(self) -> None:
        self._slowness = _slowness()
        self._began = time.process_time()

    def seconds(self) -> float:
        """Processor time since then, as that other computer would have needed it."""
        took = time.process_time() - self._began
        return took / max(self._slowness, _slowness())


def _slowness() -> float:
    return max(1.0, _work() / _THERE)


def _work() -> float:
    began = time.process_time()
    table: dict[str, int] = {}
    for number in range(60_000):
        text = f"\\folder {number % 500}\\file {number}"
        table[text.upper()] = struct.unpack("<I", struct.pack("<I", number))[0]
    assert sum(sorted(table.values(), reverse=True)) == 60_000 * 59_999 // 2
    return time.process_time() - began
