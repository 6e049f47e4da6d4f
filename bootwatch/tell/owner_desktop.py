"""What a notification says: the owner's own words, short enough that no daemon cuts them, and a few more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bootwatch.model.alert import Kind
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell.owner import OwnerText, owner_text
from bootwatch.tell.owner_answer import Answer
from bootwatch.tell.owner_words import Words
from bootwatch.tell.plain import plain

# Some daemons cut what doesn't fit on a few lines; the text behind the button holds all.
_ROOM = 460
_NAME = 40
_MOST_NAMED = 3
# Which paragraph says whom to call.
_CALLS = {Answer.CALL: 1, Answer.STICK: 2}


def of_alert(message: Message, told: Sequence[Told]) -> OwnerText:
    """The open alert for whoever sees it now: to them it is no reminder."""
    return owner_text(replace(message, kind=Kind.NEWS, time=message.opened), told)


def of_the_end(message: Message, was: Level) -> OwnerText:
    """That an alert, of which the worst was ``was``, is over."""
    return owner_text(replace(message, kind=Kind.ALL_CLEAR, is_over=was, still_open=None))


def shortened(text: OwnerText, code: str) -> str:
    """The first paragraphs, each in one line, and the one that holds the ``code`` for the phone: behind the
    one that says whom to call, if one does, since what comes last may be cut.

    Which computer it is about, the last one, is left out: it is this one.
    """
    paragraphs = [" ".join(one.split()) for one in text.body.split("\n\n")][:-1]
    others = [one for one in paragraphs if not code or code not in one]
    # No line is broken in the middle of it.
    whole = code.replace(" ", "\N{NO-BREAK SPACE}")
    to_read_out = [one.replace(code, whole) for one in paragraphs if one not in others]
    kept = [one for at, one in enumerate(others) if not at or sum(map(len, others[: at + 1])) <= _ROOM]
    place = _CALLS.get(text.answer, len(kept))
    return "\n".join([*kept[:place], *to_read_out, *kept[place:]])


def telling(care: Care, refused: Sequence[str], *, has_mistakes: bool) -> tuple[str, str] | None:
    """Title and body of what the owner is to know of telling others; None where nothing is wrong with it."""
    words = Words(care.language)
    if has_mistakes:
        title = words.say("This computer can tell nobody else")
        why = words.say("The list of those who are to be told has a mistake in it.")
    elif refused:
        names = words.joined([plain(name, _NAME) for name in refused[:_MOST_NAMED]])
        title = words.say("{names} could not be told", names=names)
        why = words.say("What this computer had to say was refused there, and it does not try again.")
    else:
        return None
    return title, f"{why} {_call_yourself(words, care)}"


def _call_yourself(words: Words, care: Care) -> str:
    whom = ", ".join(filter(None, (plain(care.name, _NAME).strip(), plain(care.phone, _NAME).strip())))
    if not whom:
        return words.say("Please tell whoever looks after this computer yourself.")
    return words.say("Please call {whom} yourself.", whom=whom)


def button(care: Care) -> str:
    """What opens the whole text."""
    return Words(care.language).say("Read more")


def for_others(care: Care) -> str:
    """What stands above the technician's part of the text."""
    return Words(care.language).say("For whoever looks after this computer:")
