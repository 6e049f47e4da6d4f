"""The first sentences of a message: what would happen to which system at the next switch-on."""

from __future__ import annotations

from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.plain import plain
from bootwatch.tell.prospect import Prospect
from bootwatch.tell.subject import clause, headline, is_another, ways_lost
from bootwatch.tell.topic import GRAVE, Item, Topic, is_by_itself, systems_of

_NAME = 60
_STRANDED = (
    "{systems} on {machine} would not start at the next switch-on: leave the machine running until somebody "
    "has looked."
)
_DIVERTED = "At the next switch-on {machine} would start {following}, and not {systems}."
_DIVERTED_SOMEHOW = "At the next switch-on {machine} would not start {systems}, but something else."
_ONE_WAY_LESS = "On {machine} a way of starting {systems} is gone. What is left is said below."
_LEADS = {
    Level.WEAKENED: (
        "On {machine} a safeguard of how {systems} would start is gone or in doubt: {headline}."
    ),
    Level.CHANGED: (
        "Something about how {machine} starts {systems} has changed that is worth knowing: {headline}."
    ),
    Level.ROUTINE: "Something about how {machine} starts {systems} has changed, as expected.",
}
# What is wrong by itself took nothing away, unless it keeps a system from starting.
_NEEDS_A_LOOK = "Something about how {machine} starts {systems} needs a look before it does harm: {headline}."


def mark(message: Message, topic: Topic) -> str:
    """The worst of it in a word or two: "diverted", "still diverted", "all clear"."""
    level = topic.level.value if topic.level else "nothing open"
    if message.kind is Kind.REMINDER:
        return f"still {level}"
    if message.kind is Kind.ALL_CLEAR:
        return f"now {level}" if message.still_open else "all clear"
    return f"sign of life: {level}" if message.kind is Kind.SIGN_OF_LIFE else level


def lead(message: Message, topic: Topic, prospect: Prospect) -> str:
    """One to three sentences, made harmless."""
    if message.kind is Kind.ALL_CLEAR:
        return _all_clear(message, topic, prospect)
    if message.kind is Kind.SIGN_OF_LIFE:
        left = f"Still open: {clause(topic, prospect)}." if topic.level else "Nothing is open."
        return f"A sign of life from {plain(message.machine, _NAME)}. {left}"
    if message.kind is Kind.REMINDER:
        return _reminder(message, topic, prospect)
    return _news(message, topic, prospect)


def _news(message: Message, topic: Topic, prospect: Prospect) -> str:
    # The names may hold braces themselves; one pass over the sentence leaves them alone.
    return _sentence(topic, prospect).format(
        machine=plain(message.machine, _NAME),
        systems=systems_of(_about(topic)) or "its systems",
        following=prospect.following,
        headline=headline(topic.worst) if topic.worst else "",
    )


def _about(topic: Topic) -> list[Item]:
    return topic.worst if topic.level in GRAVE else ways_lost(topic.worst) or topic.worst


def _sentence(topic: Topic, prospect: Prospect) -> str:
    """By the level, with the names still to be filled in."""
    level, worst = topic.level or Level.ROUTINE, topic.worst
    if level is Level.STRANDED:
        return _STRANDED
    if level is Level.DIVERTED:
        return _DIVERTED if is_another(worst, prospect) else _DIVERTED_SOMEHOW
    if worst and is_by_itself(worst):
        return _NEEDS_A_LOOK
    return _ONE_WAY_LESS if ways_lost(worst) else _LEADS[level]


def _reminder(message: Message, topic: Topic, prospect: Prospect) -> str:
    since = f", since {phrases.moment(message.opened)}" if message.opened else ""
    if topic.worst:
        return f"Still open{since}. {_news(message, topic, prospect)}"
    level = (topic.level or Level.CHANGED).value
    return f"{plain(message.machine, _NAME)} is still {level}{since}, as far as could be seen."


def _all_clear(message: Message, topic: Topic, prospect: Prospect) -> str:
    machine = plain(message.machine, _NAME)
    if message.still_open is not None:
        over = message.is_over.value if message.is_over else "what it was"
        left = clause(topic, prospect, still="still ")
        return f"{machine} is no longer {over}, but something is left: {left}."
    how = f": {plain(message.how, 500)}" if message.how else ""
    since = f" told since {phrases.moment(message.opened)}" if message.opened else " told"
    return f"All clear on {machine}{how}. Nothing is left open of what was{since}."
