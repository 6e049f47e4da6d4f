"""A mail server on this computer's loopback, which keeps what it is given (RFC 5321)."""

from __future__ import annotations

import asyncio
import socket
import threading
from email import message_from_bytes, policy
from email.message import EmailMessage
from queue import Empty, SimpleQueue
from types import TracebackType
from typing import Any

from bootwatch.problem import Problem


class MailServer:
    """Use as a context manager; ``port`` is a free one. Raises Problem when its library is missing."""

    def __init__(self) -> None:
        self._smtp = _library()
        self._mails: SimpleQueue[bytes] = SimpleQueue()
        self._loop = asyncio.new_event_loop()
        # Bound here, so that the port is ours from the start.
        self._socket = socket.create_server(("127.0.0.1", 0))
        # Named here: looking up this computer's own name can take long without a network.
        self._server = self._loop.run_until_complete(
            self._loop.create_server(
                lambda: self._smtp(self, hostname="demo.invalid", loop=self._loop), sock=self._socket
            )
        )
        self._thread = threading.Thread(target=self._serve, name="mail server", daemon=True)

    @property
    def port(self) -> int:
        port: int = self._socket.getsockname()[1]
        return port

    def __enter__(self) -> MailServer:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def receive(self, seconds: float = 10) -> EmailMessage:
        """The next mail, at the latest in ``seconds``. Raises Problem when none came."""
        try:
            data = self._mails.get(timeout=seconds)
        except Empty:
            raise Problem("No mail arrived at the demo's mail server.") from None
        return message_from_bytes(data, policy=policy.default)

    @property
    def has_more(self) -> bool:
        """Whether a mail lies here that nobody received."""
        return not self._mails.empty()

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        """The library calls this, by this name, once for each mail."""
        self._mails.put(envelope.content)
        return "250 kept"

    def _serve(self) -> None:
        self._loop.run_forever()
        self._server.close()
        self._loop.run_until_complete(_end_conversations())
        self._loop.close()


async def _end_conversations() -> None:
    left = asyncio.all_tasks() - {asyncio.current_task()}
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)


def _library() -> Any:
    try:
        from aiosmtpd.smtp import SMTP
    except ImportError:
        raise Problem(
            "The demo delivers its mail to a mail server of its own, and the library for it is missing.",
            hint="Install Debian's python3-aiosmtpd, or bootwatch with its extra: bootwatch[demo]",
        ) from None
    return SMTP
