"""One of a machine's byte streams as the host sees it: lines as they come, events among them."""

import json
import os
import socket
from collections import deque
from typing import Any, BinaryIO

Event = dict[str, Any]


class Channel:
    """The host's end of a stream. `theirs` goes to QEMU."""

    def __init__(self, mark: bytes = b"", log: BinaryIO | None = None) -> None:
        self.ours, self.theirs = socket.socketpair()
        self.ended = False
        self.events: deque[Event] = deque()
        self.text = b""
        self._mark, self._log, self._pending = mark, log, b""

    def fileno(self) -> int:
        """For poll."""
        return self.ours.fileno()

    def receive(self) -> bool:
        """Takes in what is there; False when nothing came because the machine has closed the stream."""
        try:
            chunk = os.read(self.fileno(), 1 << 16)
        except ConnectionResetError:
            chunk = b""
        if not chunk:
            self.ended = True
            return False
        if self._log:
            self._log.write(chunk)
            self._log.flush()
        self.text += chunk
        *lines, self._pending = (self._pending + chunk).split(b"\n")
        for line in lines:
            self._take(line)
        return True

    def _take(self, line: bytes) -> None:
        _, found, event = line.partition(self._mark + b"{")
        if found:
            self.events.append(json.loads(b"{" + event))

    def send(self, message: Event) -> None:
        """Sends one line of JSON; raises OSError when the machine has closed the stream."""
        self.ours.sendall(json.dumps(message).encode() + b"\n")

    def close(self) -> None:
        """Closes the host's end."""
        self.ours.close()
