"""What the owner of the machine reads in situations, in both languages: ``owner.txt`` in their folders."""

from __future__ import annotations

import datetime
from dataclasses import replace

from bootwatch.model.care import Care
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell.owner import owner_text
from tests.situations import play

NAMES = (
    "alarm-disk-gone",
    "alarm-entry-gone-elsewhere",
    "alarm-new-entry-in-front",
    "alarm-next-set-to-quarry",
    "alarm-order-diverted",
    "alarm-secure-boot-off",
    "alarm-volatile-file-gone",
    "clock-back-years",
    "finding-no-way-left",
    "pair-stick-gone-and-loader-gone",
    "quiet-next-start-used-up",
    "told-once",
)
CARES = (
    Care("Anna", "01234 567890", "F9", "the red stick in the desk drawer", "en"),
    Care("Anna", "01234 567890", "F9", "der rote Stick in der Schreibtischschublade", "de"),
)


def owners_words(told: play.Told) -> str:
    """Every message in the order of making, as its owner reads it once Anna was told too."""
    messages = [scene.message for scene in told.scenes if scene.message]
    return "\n".join(_words(replace(one, care=care)) for care in CARES for one in messages)


def _words(message: Message) -> str:
    """Anna was told when the message was made."""
    said = owner_text(message, [Told("Anna", "technician", message.time)], datetime.UTC)
    title = f"{message.care.language}, {message.kind.value} at snapshot {message.snapshot}: {said.title}"
    return f"{title}\n{'=' * min(len(title), 110)}\n\n{said.body}"
