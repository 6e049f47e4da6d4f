"""One of a machine's byte streams as the host sees it: lines as they come, events among them."""

import fcntl
import json
import os
import socket
from collections import deque
from typing import Any, BinaryIO, Self

Event = dict[str, Any]
PIPE_SIZE = 1 << 20


class Channel:
    """The host's end of a stream, as a descriptor; `theirs` goes to QEMU."""

    def __init__(self, ours: int, theirs: int, mark: bytes = b"", log: BinaryIO | None = None) -> None:
        self.ours, self.theirs = ours, theirs
        self.ended = False
        self.events: deque[Event] = deque()
        self.text = b""
        self._mark, self._log, self._pending = mark, log, b""

    @classmethod
    def both_ways(cls) -> Self:
        """A connected socket."""
        ours, theirs = socket.socketpair()
        return cls(ours.detach(), theirs.detach())

    @classmethod
    def from_machine(cls, mark: bytes, log: BinaryIO) -> Self:
        """A pipe for what the machine writes byte by byte: a socket holds only a few hundred of such, and
        a serial port drops what nobody takes."""
        ours, theirs = os.pipe()
        fcntl.fcntl(ours, fcntl.F_SETPIPE_SZ, PIPE_SIZE)
        return cls(ours, theirs, mark, log)

    def fileno(self) -> int:
        """For poll."""
        return self.ours

    def receive(self) -> bool:
        """Takes in what is there; False when nothing came because the machine has closed the stream."""
        try:
            chunk = os.read(self.ours, 1 << 16)
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
        line = json.dumps(message).encode() + b"\n"
        while line:
            line = line[os.write(self.ours, line) :]

    def close(self) -> None:
        """Closes the host's end, if it is still open."""
        if self.ours >= 0:
            os.close(self.ours)
            self.ours = -1

    def hand_over(self) -> None:
        """Closes QEMU's end here, once QEMU has it."""
        os.close(self.theirs)
