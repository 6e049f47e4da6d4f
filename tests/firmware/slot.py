"""At most two machines at once on one computer, however many test processes there are."""

import fcntl
import queue
import threading
from typing import IO

from tests.firmware import cache

SLOTS = 2


def take() -> IO[bytes]:
    """A lock that is free again when this file and all copies of it (QEMU gets one) are closed: of the one
    that comes first, as who waits for a certain one may wait while another is free."""
    found: queue.SimpleQueue[IO[bytes]] = queue.SimpleQueue()
    is_taken = threading.Lock()

    def wait(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX)
        if is_taken.acquire(blocking=False):
            found.put(file)
        else:
            file.close()

    for number in range(SLOTS):
        # Nobody waits for the second one, not even at the end of the process.
        file = (cache.root() / f"machine-{number}.lock").open("wb")
        threading.Thread(target=wait, args=(file,), daemon=True).start()
    return found.get()
