"""One message to one address: by mail or by the notification library, once, in the address's words."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bootwatch.addresses import Address
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell import html_mail, library, mail, owner, part, subject, wording
from bootwatch.tell.letter import Letter
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.state import part_state
from bootwatch.tell.text_lines import laid_out


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
    level = message.level
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
    written = letter(message, address.reader, context)
    if address.route is None:
        return library.deliver(address.to, written.subject, written.body, message.level)
    return mail.deliver(written, address.route, line)


def letter(message: Message, reader: str, context: Context = ALONE) -> Letter:
    """``message`` in the words of a reader, with all that a mail can carry."""
    thread = _thread(message, reader)
    is_first = message.alert != "" and message.stage == 1
    written = _owner(message, context) if reader == "owner" else _technician(message, context)
    return replace(written, identity=thread if is_first else f"{message.id} {reader}", thread=thread)


def _owner(message: Message, context: Context) -> Letter:
    try:
        said = owner.owner_text(message, context.told)
    except (LookupError, TypeError, AttributeError):
        # Another version wrote differently what starts, so that isn't known; they are told all the same.
        said = owner.owner_text(replace(message, routes={}, state={}), context.told)
    page = html_mail.owner_html(said.title, said.body, message.care.language)
    return Letter("", subject.of_machine(message.machine, said.title), said.body, page)


def _technician(message: Message, context: Context) -> Letter:
    said, text = wording.subject(message), wording.text(message)
    page = html_mail.html_of(text, said)
    return Letter("", said, laid_out(text), page, _part(message, context.key))


def _part(message: Message, key: bytes | None) -> bytes:
    """b"" where an older version handed the message over, or its state is too large: the words go first."""
    if not message.state:
        return b""
    try:
        return part.seal(part_state(message), key)
    except ValueError:
        return b""


def _thread(message: Message, reader: str) -> str:
    """The messages of one alert belong together, and the signs of life of one machine."""
    if message.kind is Kind.SIGN_OF_LIFE:
        return f"signs of life {message.state.get('id') or message.machine} {reader}"
    return f"alert {message.alert} {reader}" if message.alert else ""
