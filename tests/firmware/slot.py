"""At most two machines at once on one computer, however many test processes there are."""

import fcntl
import os
from typing import IO

from tests.firmware import cache

SLOTS = 2


def take() -> IO[bytes]:
    """A lock that is free again when this file and all copies of it (QEMU gets one) are closed."""
    for number in range(SLOTS):
        file = (cache.root() / f"machine-{number}.lock").open("wb")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.close()
        else:
            return file
    file = (cache.root() / f"machine-{os.getpid() % SLOTS}.lock").open("wb")
    fcntl.flock(file, fcntl.LOCK_EX)
    return file
