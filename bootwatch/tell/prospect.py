"""What a message says of the next switch-on, and of which systems start."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import (
    how_phrase,
    is_open,
    joined,
    name_of,
    next_phrase,
    ways_phrase,
    what_of,
)

_NAME = 40
_MOST_SYSTEMS = 6
_NOTHING_BY = {"nothing": "no system", "setup": "the firmware's setup"}


@dataclass(frozen=True)
class Prospect:
    """``following`` is what starts next and by what, a phrase; ``instead`` the same in a word or two, to be
    put before "instead of"; both "" where that isn't known. ``system`` is the one that starts next or most
    likely does, "" for none. ``systems`` holds a sentence on each."""

    following: str = ""
    instead: str = ""
    system: str = ""
    systems: tuple[str, ...] = ()

    @classmethod
    def of(cls, routes: dict[str, Any]) -> Prospect:
        """From the document that routes are shown by; without it, or where another version wrote it
        differently, nothing is known."""
        try:
            following, systems = routes["next_start"], [one for one in routes["systems"] if _stays(one)]
            said = [_sentence(one, following) for one in systems[:_MOST_SYSTEMS]]
            left = len(systems) - len(said)
            more = [f"and {left} more: see bootwatch routes"] if left > 0 else []
            next_system = str(following["system"] or "")
            return cls(_following(following), _instead(following), next_system, (*said, *more))
        except (KeyError, TypeError, AttributeError, ValueError, IndexError):
            return NOT_KNOWN


NOT_KNOWN = Prospect()


def _stays(system: dict[str, Any]) -> bool:
    """Whether it is no visitor on a removable disk."""
    return not system["removable"] or system["how"] == "by itself"


def _following(following: dict[str, Any]) -> str:
    return "" if is_open(following) else next_phrase(following)


def _instead(following: dict[str, Any]) -> str:
    if is_open(following):
        return ""
    if following["by"] in _NOTHING_BY:
        return _NOTHING_BY[following["by"]]
    names = joined((_short(one) for one in following["candidates"]), "or")
    one = _short(following)
    return one if following["certain"] or names in ("", one) else f"probably {one}"


def _short(thing: dict[str, Any]) -> str:
    """The system, else the entry's label: a path is too long for a subject."""
    if thing["system"] or not thing.get("label"):
        return plain(what_of(thing), _NAME)
    return f'"{plain(str(thing["label"]), _NAME)}"'


def _sentence(system: dict[str, Any], following: dict[str, Any]) -> str:
    ways = ways_phrase(system)
    return f"{name_of(system)}: {how_phrase(system, following)}" + (f"; {ways}" if ways else "") + "."
