"""When to ask for a reading after something changed: once it has settled, and not without end."""

from __future__ import annotations

QUIET = 3.0
"""Seconds without a further change after which a burst is over: an update writes many files in a row."""
LONGEST = 60.0
"""Seconds after which is asked although changes go on; and the longest pause between two questions."""


class Settling:
    """Collects changes into bursts. Every time is in seconds of a clock that only goes forward.

    Where one burst follows another, each question waits longer than the one before (up to ``longest``): what
    writes to a boot volume all day long must not have the machine read all day long.
    """

    def __init__(self, quiet: float = QUIET, longest: float = LONGEST) -> None:
        self._quiet, self._longest = quiet, longest
        self._first: float | None = None
        self._last = 0.0
        self._pause = 0.0
        self._asked: float | None = None

    def note(self, now: float) -> None:
        """Something changed."""
        self._last = now
        if self._first is None:
            self._first = now

    @property
    def due(self) -> float | None:
        """When to ask; None while nothing changed since the last question."""
        if self._first is None:
            return None
        settled = min(self._last + self._quiet, self._first + self._longest)
        return settled if self._asked is None else max(settled, self._asked + self._pause)

    def asked(self, now: float) -> None:
        """The question was put."""
        is_soon = self._asked is not None and now - self._asked < 2 * self._longest
        self._pause = min(max(2 * self._pause, self._quiet), self._longest) if is_soon else 0.0
        self._first, self._asked = None, now
