"""What machines read of a message: the state in a small document, with every mail (tell/part.py)."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from typing import Any

from bootwatch import __version__
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message

FORMAT = "bootwatch/state/1"
MOST_STARTS = 60
_MOST_SYSTEMS = 20

Document = dict[str, Any]


def machine_key(machine_id: str) -> str:
    """What tells one machine from another without giving its machine-id away: 32 hex digits."""
    return hashlib.sha256(b"bootwatch " + machine_id.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def state_document(
    *,
    machine: str,
    machine_id: str,
    time: str,
    snapshot: int,
    starts: Sequence[str],
    levels: Counter[Level],
    drift: Drift,
    routes: Document,
    next_expected: bool | None,
    spoken: str,
    sign_of_life: int | None,
) -> Document:
    """``levels`` counts what people must hear of; ``starts`` are the times of the last starts, newest first.
    ``sign_of_life``: after how many days one is sent, None for never (0 in the document).

    Names are as they came from the machine.
    """
    following = routes["next_start"]
    return {
        "format": FORMAT,
        "bootwatch": __version__,
        "machine": machine,
        "id": machine_key(machine_id or machine),
        "time": time,
        "snapshot": snapshot,
        "starts": list(starts[:MOST_STARTS]),
        "open": {level.value: levels[level] for level in Level if levels[level]},
        "next_start": {
            "by": following["by"],
            "system": following["system"],
            "certain": following["certain"],
            "expected": next_expected,
        },
        "systems": [
            {"name": one["name"], "starts": one["starts"], "how": one["how"]}
            for one in routes["systems"][:_MOST_SYSTEMS]
            if not one["removable"]
        ],
        "unread": len(drift.gaps),
        "spoken": spoken,
        "sign_of_life": sign_of_life or 0,
    }


def part_state(message: Message) -> Document:
    """What is sent of a message: the state, and which message this is. ``alert`` is null outside alerts."""
    return message.state | {
        "kind": message.kind.value,
        "alert": message.alert or None,
        "called": message.called,
        "stage": message.stage,
        "opened": message.opened,
        "message": message.id,
    }
