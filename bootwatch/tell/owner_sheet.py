"""The owner's sheet: six short lines for the day on which the computer doesn't start, to be printed large."""

from __future__ import annotations

from typing import Any

from bootwatch.model.care import Care
from bootwatch.tell.owner_answer import menu_line
from bootwatch.tell.owner_words import Words, kept
from bootwatch.tell.plain import plain

_NAME = 60
_MOST_LINES = 3
_TO_FILL_IN = "_" * 20


def owner_sheet(machine: str, routes: dict[str, Any], care: Care, key_at: str = "") -> tuple[str, ...]:
    """A title and five lines, with KEPT for spaces at which none is broken.

    ``routes`` is what `bootwatch routes` gave when all was well; ``key_at`` says where the disk encryption's
    key is kept. What isn't known is left open, to be filled in by hand.
    """
    say = Words(care.language).say
    return (
        say('When the computer "{computer}" does not start as usual', computer=_cut(machine)),
        say("Nothing is lost. Please do not install anything anew."),
        say(
            "Switch it on, and press {key} again and again until a list appears.",
            key=kept(care.menu_key) or _TO_FILL_IN,
        ),
        say("Choose {lines} with the arrow keys, and press Enter.", lines=_lines(routes, care)),
        _call(care),
        say(
            "If it asks for a long key or number: that is kept here: {place}",
            place=_cut(key_at) or _TO_FILL_IN,
        ),
    )


def _lines(routes: dict[str, Any], care: Care) -> str:
    """What to choose in the firmware's menu, the usual system first."""
    words, usual = Words(care.language), (routes.get("next_start") or {}).get("system")
    built_in = [str(one["name"]) for one in routes.get("systems") or () if not one["removable"]]
    found = []
    for name in sorted(built_in, key=lambda name: name != usual):
        label = menu_line(routes, name)
        called = words.system(_cut(care.name_of(name)))
        if label:
            found.append(f'"{kept(label)}"' if called == label else f'"{kept(label)}" ({called})')
    *others, last = found[:_MOST_LINES] or [_TO_FILL_IN]
    return words.say("{names} or {last}", names=", ".join(others), last=last) if others else last


def _call(care: Care) -> str:
    say = Words(care.language).say
    whom = ", ".join(filter(None, (_cut(care.name), kept(care.phone)))) or _TO_FILL_IN
    stick = _cut(care.stick)
    if stick:
        return say(
            "If that does not help: plug in the stick ({stick}) and call {whom}.", stick=stick, whom=whom
        )
    return say("If that does not help: call {whom}.", whom=whom)


def _cut(text: str) -> str:
    return plain(text, _NAME).strip()
