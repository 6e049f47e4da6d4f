"""Not to be stopped in the middle of a write: who asks for it is heard between two of them."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from dataclasses import dataclass

from bootwatch.problem import Problem

_HEARD = (signal.SIGINT, signal.SIGTERM)
# A terminal that goes away is no wish to leave a machine half mended.
_IGNORED = (signal.SIGHUP,)


@dataclass
class Asked:
    """Which signal asked to stop; None as long as none did."""

    by: signal.Signals | None = None

    def require_quiet(self) -> None:
        """Raises Problem once somebody asked to stop."""
        if self.by:
            raise Problem(f"It was asked to stop ({self.by.name}).")


@contextlib.contextmanager
def unhurried() -> Iterator[Asked]:
    """Signals that end a process are put off as long as this lasts."""
    asked = Asked()
    if threading.current_thread() is not threading.main_thread():
        yield asked  # only the main thread hears signals
        return

    def hear(number: int, _: object) -> None:
        asked.by = signal.Signals(number)

    former = {one: signal.signal(one, hear) for one in _HEARD}
    former |= {one: signal.signal(one, signal.SIG_IGN) for one in _IGNORED}
    try:
        yield asked
    finally:
        for one, handler in former.items():
            signal.signal(one, handler)
