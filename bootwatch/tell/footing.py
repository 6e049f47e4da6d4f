"""The foot of a message: what else can be asked for on the machine, and of which alert this is."""

from __future__ import annotations

from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.plain import plain
from bootwatch.tell.text import Paragraph, Section, Table, Weight

_EVERYTHING = ("everything, with both sides", "bootwatch drift")
_MEANING = ("what a change means", "bootwatch meaning NAME")
_WAYS = ("every way of starting", "bootwatch routes")
_BACK = ("what would bring it back", "sudo bootwatch restore")
_KEEP = ("if it is to stay like this", "bootwatch baseline save --reason TEXT")


def footing(message: Message) -> tuple[Section, ...]:
    """Commands, the spoken code, and the alert's name."""
    return (
        Section("On the machine", (Table(_commands(message)),), Weight.ASIDE),
        Section("", _alert(message), Weight.ASIDE),
    )


def _commands(message: Message) -> tuple[tuple[str, str], ...]:
    is_over = message.kind in (Kind.ALL_CLEAR, Kind.SIGN_OF_LIFE) and message.still_open is None
    back = [_BACK] if _has_reminders(message) else []
    rows = [_EVERYTHING, _WAYS] if is_over else [_EVERYTHING, _MEANING, _WAYS, *back, _KEEP]
    called = plain(message.called, 20)
    if called:
        rows.append(("who was told, and when", "bootwatch alerts"))
        if _has_reminders(message):
            rows.append(("no reminders for a while", f"bootwatch alerts quiet {called} --until TIME"))
    if message.spoken:
        rows.append(("what is read out by phone", f"{plain(message.spoken, 40)} (bootwatch heard CODE)"))
    return tuple(rows)


def _has_reminders(message: Message) -> bool:
    """Whether there will be any: nobody is reminded of what is only worth knowing."""
    level = message.still_open or (message.worst_news if message.kind is Kind.NEWS else None)
    return level is not None and level.at_least(Level.WEAKENED)


def _alert(message: Message) -> tuple[Paragraph, ...]:
    if not message.called:
        return ()
    since = f", opened {phrases.moment(message.opened)}" if message.opened else ""
    is_end = message.kind is Kind.ALL_CLEAR and message.still_open is None
    which = "the last message" if is_end else f"message {message.stage}"
    return (Paragraph(f"This is {which} of alert {plain(message.called, 20)}{since}."),)
