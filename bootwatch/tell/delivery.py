"""One message to one address: by mail or by the notification library, once, in the address's words."""

from __future__ import annotations

from dataclasses import dataclass, field

from bootwatch.addresses import Address
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell import library, mail, owner, wording
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome


@dataclass(frozen=True)
class Context:
    """What the sender knows besides a message: ``told``, who got messages of the same alert so far; ``key``,
    the machine's private key (PEM) that signs machine-readable parts, None where there is none."""

    told: tuple[Told, ...] = ()
    key: bytes | None = field(default=None, repr=False)


ALONE = Context()


def skipped(address: Address, message: Message) -> Outcome | None:
    """The outcome of a message that ``address`` doesn't want, else None."""
    if message.kind is Kind.SIGN_OF_LIFE:
        return None if address.sign_of_life else Outcome.skipped("this address wants no signs of life")
    level = _level(message)
    if not level.at_least(address.least):
        return Outcome.skipped(
            f"{level.value} is below {address.least.value}, the least level of this address"
        )
    still = message.still_open
    if message.kind is Kind.ALL_CLEAR and still and still.at_least(address.least):
        return Outcome.skipped(f"for this address it is not over yet: {still.value} is still open")
    return None


def deliver(address: Address, message: Message, line: Line, context: Context = ALONE) -> Outcome:
    """Hand ``message`` over. Never raises on purpose."""
    subject, body = _words(address, message, context)
    if address.route is None:
        return library.deliver(address.to, subject, body, _level(message))
    letter = mail.Letter(f"{message.id} {address.reader}", message.machine, subject, body)
    return mail.deliver(letter, address.route, line)


def _words(address: Address, message: Message, context: Context) -> tuple[str, str]:
    """Subject and text in the words of the address's reader."""
    if address.reader == "owner":
        said = owner.owner_text(message, context.told)
        return f"{message.machine}: {said.title}", said.body
    return wording.subject(message), wording.body(message)


def _level(message: Message) -> Level:
    found = {
        Kind.NEWS: message.worst_news,
        Kind.REMINDER: message.still_open,
        Kind.ALL_CLEAR: message.is_over,
        Kind.SIGN_OF_LIFE: Level.ROUTINE,
    }
    return found[message.kind] or Level.ROUTINE
