"""One message to one address: by mail or by the notification library, once, in the address's words."""

from __future__ import annotations

from bootwatch.addresses import Address
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import library, mail, wording
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome


def skipped(address: Address, message: Message) -> Outcome | None:
    """The outcome of a message whose news are below the least level of ``address``, else None."""
    level = _level(message)
    if level.at_least(address.least):
        return None
    return Outcome.skipped(f"{level.value} is below {address.least.value}, the least level of this address")


def deliver(address: Address, message: Message, line: Line) -> Outcome:
    """Hand ``message`` over. Never raises on purpose."""
    subject, body = wording.subject(message), wording.body(message)
    if address.route is None:
        return library.deliver(address.to, subject, body, _level(message))
    letter = mail.Letter(f"{message.id} {address.reader}", message.machine, subject, body)
    return mail.deliver(letter, address.route, line)


def _level(message: Message) -> Level:
    return message.worst_news or Level.ROUTINE
