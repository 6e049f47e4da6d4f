"""What one input may cost: bytes and calls of its reader, processor time, memory.

Time is processor time, so that a busy machine doesn't make an input slow, and what a reader is asked for is
counted, which no machine changes.
"""

import resource
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from bootwatch.formats.reader import Reader

SECONDS = 1.0
MEGABYTES = 100
MAX_READ = 1 << 33
MAX_CALLS = 2_000_000


class TooCostly(BaseException):
    """An input costs more than it may. Not an Exception, so that no reader swallows it."""


class CountedReader:
    """A reader that counts what it is asked for."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._read = 0
        self._calls = 0

    def seek(self, offset: int, whence: int = 0, /) -> int:
        self._count(0)
        return self._reader.seek(offset, whence)

    def read(self, size: int = -1, /) -> bytes:
        data = self._reader.read(size)
        self._count(len(data))
        return data

    def _count(self, size: int) -> None:
        self._read += size
        self._calls += 1
        if self._read > MAX_READ:
            raise TooCostly(f"{self._read} bytes were read")
        if self._calls > MAX_CALLS:
            raise TooCostly(f"the reader was called {self._calls} times")


def _stop(_number: int, _frame: FrameType | None) -> None:
    raise TooCostly("it takes too much processor time")


def peak() -> int:
    """The most memory that this process ever had, in megabytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10


@contextmanager
def limited(slowness: float = 1.0, before: int | None = None) -> Iterator[None]:
    """Raises TooCostly when what is done within takes longer than a second of processor time, times
    `slowness`, or makes the process grow by more than 100 MB beyond `before` (its peak so far).

    A hard stop comes after three times that: an endless loop ends with a traceback of where it was.
    """
    before = peak() if before is None else before
    signal.signal(signal.SIGPROF, _stop)
    signal.setitimer(signal.ITIMER_PROF, SECONDS * slowness * 3)
    began = time.process_time()
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    took = time.process_time() - began
    if took > SECONDS * slowness:
        raise TooCostly(f"it took {took:.1f} s of processor time")
    if peak() - before > MEGABYTES:
        raise TooCostly(f"it took {peak() - before} MB of memory")
