"""A message in one line, which is enough to decide: machine, what would happen, to which system, why."""

from __future__ import annotations

import re

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.plain import plain
from bootwatch.tell.prospect import Prospect
from bootwatch.tell.topic import Item, Topic, is_by_itself, systems_of

_SUBJECT = 150
_MACHINE = 60
_HEADLINE = 120
# Words that headlines begin with; names keep their capital letters.
_OPENING = re.compile(r"(?:The|An?|There|Only|No|What|Switched on|Loaders|Partitions?) ")
# As changes say it that took a route away and left another one.
_ONE_WAY_LESS = re.compile(r"[Oo]ne way to (?:it|start .*) is gone")
_ENDINGS = {Level.WEAKENED: "weakened", Level.CHANGED: "worth knowing", Level.ROUTINE: "as expected"}


def subject(message: Message) -> str:
    """``reading-room-3: Quarry instead of Fernwick Linux at the next switch-on (entry missing)``"""
    return plain(of_machine(message.machine, _said(message)), _SUBJECT)


def of_machine(machine: str, said: str) -> str:
    """``said`` with the machine in front, whose name leaves it room."""
    return f"{plain(machine, _MACHINE)}: {said}"


def _said(message: Message) -> str:
    topic, prospect = Topic.of(message), Prospect.of(message.routes)
    if message.kind is Kind.NEWS:
        return clause(topic, prospect)
    if message.kind is Kind.REMINDER:
        return clause(topic, prospect, still="still ")
    if message.kind is Kind.ALL_CLEAR:
        if message.still_open is None:
            return f"all clear: {message.how}" if message.how else "all clear"
        over = message.is_over.value if message.is_over else "what it was"
        return f"no longer {over}; {clause(topic, prospect, still='still ')}"
    return f"sign of life; {clause(topic, prospect, still='still ') if topic.level else 'nothing is open'}"


def clause(topic: Topic, prospect: Prospect, still: str = "") -> str:
    """The worst of it without a full stop. ``still``: "still ", to be said where it has been so before."""
    worst, level = topic.worst, topic.level or Level.ROUTINE
    if not worst:
        return _without_items(level, still)
    names, systems = phrases.short_names(worst), systems_of(worst)
    if level is Level.STRANDED:
        return f"{systems or 'a system'} {still}would not start ({names})"
    if level is Level.DIVERTED:
        instead = prospect.instead if is_another(worst, prospect) else "something else"
        return f"{still}{instead} instead of {systems or 'the usual system'} at the next switch-on ({names})"
    lost = ways_lost(worst)
    if lost:
        return f"a way of starting {systems_of(lost) or 'a system'} is {still}gone ({names})"
    return _needing(worst, level, still)


def _without_items(level: Level, still: str) -> str:
    """What was told can't be seen now, or nothing but what is expected is new."""
    if still:
        return f"{still}{level.value}, as far as could be seen"
    return "how it starts has changed, as expected"


def is_another(worst: list[Item], prospect: Prospect) -> bool:
    """Whether it is known what starts next, and that it is none of the affected systems."""
    return prospect.instead != "" and prospect.system not in [one.system for one in worst]


def ways_lost(worst: list[Item]) -> list[Item]:
    """Those that took a route away and left the system another."""
    return [one for one in worst if isinstance(one, Change) and _ONE_WAY_LESS.search(one.consequence)]


def headline(worst: list[Item]) -> str:
    """The first of them as it is told one by one, without a full stop, and how many more there are."""
    said, more = phrases.headline(worst[0]).removesuffix("."), len(worst) - 1
    said = said[:1].lower() + said[1:] if _OPENING.match(said) else said
    return plain(said, _HEADLINE) + (f" and {more} more" if more else "")


def _needing(worst: list[Item], level: Level, still: str) -> str:
    """What kept no system from starting."""
    said, system = headline(worst), worst[0].system
    whose = [plain(system, _MACHINE)] if system and system not in said else []
    end = "needs a look" if is_by_itself(worst) else _ENDINGS[level]
    return f"{said} ({', '.join([*whose, still + end])})"
