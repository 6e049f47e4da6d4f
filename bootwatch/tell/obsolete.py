"""What need not be told any more at an address, because something newer that waits for it says as much."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.addresses import Address
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.tell.delivery import skipped

SIGN = "a newer message carries the machine's state"
REMINDER = "a newer message of the same alert says as much"


def obsolete(address: Address, message: Message, later: Iterable[Message]) -> str:
    """Why ``message`` need not be told at ``address``; "" when it must be. ``later`` came after it.

    Signs of life and reminders only say how things stand, and so does whatever comes after them. News and
    all-clears are told whatever happened since, in their order: somebody has to know that it happened.
    """
    wanted = (one for one in later if skipped(address, one) is None)
    if message.kind is Kind.SIGN_OF_LIFE:
        return SIGN if next(wanted, None) else ""
    if message.kind is Kind.REMINDER:
        return REMINDER if any(one.alert == message.alert for one in wanted) else ""
    return ""
