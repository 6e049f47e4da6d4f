"""Hashing what is large while the next piece of it is read."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any

_PIECE = 512 << 10  # two of them stay in a processor's cache


def hash_rest(read_into: Callable[[memoryview], int | None], digest: Any) -> int:
    """Read to the end, hashing each piece in a second thread while the next one is read; neither holds the
    interpreter meanwhile. Returns how many bytes there were; what fails in reading passes through.
    """
    free, filled = SimpleQueue[memoryview](), SimpleQueue[memoryview | None]()

    def work() -> None:
        while (piece := filled.get()) is not None:
            digest.update(piece)
            free.put(memoryview(piece.obj))  # the whole of what it was cut from

    for _ in range(2):
        free.put(memoryview(bytearray(_PIECE)))
    hasher = threading.Thread(target=work)
    hasher.start()
    try:
        size = 0
        while count := read_into(buffer := free.get()):
            filled.put(buffer[:count])
            size += count
        return size
    finally:
        filled.put(None)
        hasher.join()
