"""The line over which one delivery goes, so that it can be cut from outside when it takes too long."""

from __future__ import annotations

import contextlib
import smtplib
import socket


class Line:
    """Holds the connection of a delivery under way; cutting it makes whoever waits on it fail at once."""

    def __init__(self) -> None:
        self._connection: smtplib.SMTP | None = None

    def use(self, connection: smtplib.SMTP) -> None:
        self._connection = connection

    def cut(self) -> None:
        """Shut the connection down, from whichever thread."""
        sock = getattr(self._connection, "sock", None)
        if sock is not None:
            # The plain socket's method: the one of an encrypted socket would first take its encryption away.
            with contextlib.suppress(OSError):
                socket.socket.shutdown(sock, socket.SHUT_RDWR)
