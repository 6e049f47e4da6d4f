"""The notification library's door: every scheme but mail's.

It says no more than true or false, and leaves the reason in its log, secrets and all.
"""

from __future__ import annotations

import logging
from contextvars import ContextVar
from typing import Any

from bootwatch.model.level import Level
from bootwatch.tell import secrets
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.plain import plain

_TYPES = {
    Level.STRANDED: "failure",
    Level.DIVERTED: "failure",
    Level.WEAKENED: "warning",
    Level.CHANGED: "info",
    Level.ROUTINE: "info",
}
_MOST = 5


# Not by thread: new versions hand a delivery to a thread of their own, and its context with it.
_said: ContextVar[list[str] | None] = ContextVar("said", default=None)


class _Listener(logging.Handler):
    """Keeps what the library logs, for each delivery by itself."""

    def emit(self, record: logging.LogRecord) -> None:
        said = _said.get()
        if said is not None:
            said.append(record.getMessage())


_listener = _Listener(logging.WARNING)


def check(url: str) -> str | None:
    """What is wrong with ``url``, without anything of it; None when the library takes it."""
    try:
        return None if _server(url) else "is no address that the notification library knows, or lacks a part"
    except ImportError:
        return "needs the notification library (apprise), which is not installed"


def deliver(url: str, subject: str, body: str, level: Level) -> Outcome:
    """Hand a message to the service behind ``url``. Never raises for what a service or network does."""
    try:
        server = _server(url)
        if server is None:
            return Outcome.failed("the notification library doesn't know this address", for_good=True)
        said: list[str] = []
        _said.set(said)
        # A bool in old versions, an object in new ones: both have a truth value.
        if server.notify(body=body, title=subject, notify_type=_TYPES[level], body_format="text"):
            return Outcome.delivered()
    except ImportError:
        return Outcome.failed("the notification library (apprise) is not installed", for_good=False)
    except Exception as error:  # A plug-in may raise anything at all.
        return Outcome.failed(f"the notification library failed ({type(error).__name__})", for_good=False)
    return Outcome.failed(_reason(said, url), for_good=False)


def _server(url: str) -> Any:
    """The library's object for ``url``, or None. Raises ImportError."""
    import apprise

    _listen()
    asset = apprise.AppriseAsset(app_id="bootwatch", app_desc="bootwatch", async_mode=False)
    servers = apprise.Apprise(asset=asset)
    return servers if servers.add(url) else None


def _listen() -> None:
    """Catch the library's log; nothing of it goes on to anybody else."""
    logger = logging.getLogger("apprise")
    if _listener not in logger.handlers:
        logger.handlers[:] = [_listener]
        logger.propagate = False


def _reason(said: list[str], url: str) -> str:
    text = secrets.without("; ".join(list(dict.fromkeys(said))[-_MOST:]), secrets.of_url(url))
    return plain(text, 300) or "the notification library didn't say why"
