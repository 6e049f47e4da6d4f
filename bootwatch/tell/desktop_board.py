"""What a session reads of the board in /run: the alert, and what became of telling others."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bootwatch.keep.conform import require
from bootwatch.keep.files import read_plain
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell import owner_desktop

_LIMIT = 16 * 1024 * 1024
_MOST = 1000
# What comes of reading and of wording what isn't of the shape that the reader gave it.
MALFORMED = (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError)


@dataclass(frozen=True)
class Board:
    """``message`` is the open alert, or with ``alert`` "" that none is open; None until something was read.

    ``sent`` holds alerts' uids, each with one who knows of it. ``refused`` names the addresses that could not
    be told for good, ``has_mistakes``: nobody is told, since the addresses hold mistakes.
    """

    message: Message | None = None
    quiet_until: datetime.datetime | None = None
    sent: tuple[tuple[str, Told], ...] = ()
    refused: tuple[str, ...] = ()
    has_mistakes: bool = False

    @property
    def told(self) -> tuple[Told, ...]:
        """Who got messages of the alert that is open."""
        return tuple(told for alert, told in self.sent if self.message and alert == self.message.alert)


def read(run: Path, last: Board) -> Board:
    """What lies in ``run`` now; where that is damaged or missing, what was read ``last``."""
    alert = _read(run / "alert.json", _alert) or {}
    sent = _read(run / "send" / "state.json", _sent) or {}
    return replace(last, **alert, **sent)


def _read(path: Path, parse: Callable[[dict[str, Any]], dict[str, Any]]) -> dict[str, Any] | None:
    try:
        document = json.loads(read_plain(path, _LIMIT))
        require(document, dict[str, Any], path.name)
        return parse(document)
    except MALFORMED:
        return None


def _alert(document: dict[str, Any]) -> dict[str, Any]:
    message = Message.from_json(document["message"])
    require(message, Message, "message")
    # What starts next is plain data: whether it is whole shows when it is put in words.
    owner_desktop.of_alert(message, ())
    return {"message": message, "quiet_until": _moment(document["quiet_until"])}


def _moment(text: str) -> datetime.datetime | None:
    """Raises ValueError or TypeError."""
    found = datetime.datetime.fromisoformat(text) if text else None
    return found if found is None or found.tzinfo else found.replace(tzinfo=datetime.UTC)


def _sent(document: dict[str, Any]) -> dict[str, Any]:
    require(document["mistakes"], list[str], "mistakes")
    refused = [str(one["address"]) for one in document["untold"][:_MOST] if one["for_good"] is True]
    return {
        "sent": tuple((str(one["alert"]), Told.from_json(one)) for one in document.get("told", ())[:_MOST]),
        "refused": _each_once(refused),
        "has_mistakes": bool(document["mistakes"]),
    }


def _each_once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))
