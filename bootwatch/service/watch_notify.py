"""What a service tells systemd about itself (sd_notify(3)), and how often it has to (sd_watchdog_enabled(3)).

Ten lines of our own, where the library for it takes a third of the memory that the whole watch may have.
"""

from __future__ import annotations

import os
import socket
from contextlib import suppress

_MOST = 1000


def notify(*assignments: str) -> None:
    """Send lines such as READY=1; nothing where nobody waits for them. What systemd doesn't take is lost."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    data = "\n".join(assignments).encode("utf-8", "replace")
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as channel:
        channel.sendto(data, address.replace("@", "\0", 1))


def status(text: str) -> str:
    """The line that `systemctl status` shows, from plain text."""
    return f"STATUS={text[:_MOST]}"


def ping_seconds() -> float | None:
    """How often systemd wants to hear from this process: twice as often as it must. None: not at all."""
    given, process = os.environ.get("WATCHDOG_USEC", ""), os.environ.get("WATCHDOG_PID", "")
    if not given.isdigit() or int(given) == 0 or (process and process != str(os.getpid())):
        return None
    return int(given) / 2_000_000
