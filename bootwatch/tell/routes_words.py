"""Systems, routes and the next start as phrases. All take the JSON values that ``bootwatch routes`` gives."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bootwatch.tell.plain import plain

_NAME = 60
_LABEL = 120
_MOST_NAMED = 6
_WITHOUT_ENTRY = {
    "BootNext": "BootNext",
    "BootOrder": "The boot order",
    "fallback": "The default file",
    "setup": "The firmware's own setup",
}

Document = dict[str, Any]


def joined(names: Iterable[str], last: str = "and") -> str:
    """As in a sentence: "a, b and c"; more than a few are counted."""
    shown = list(dict.fromkeys(names))
    if len(shown) > _MOST_NAMED:
        shown = [*shown[: _MOST_NAMED - 1], f"{len(shown) - _MOST_NAMED + 1} more"]
    return f" {last} ".join(part for part in (", ".join(shown[:-1]), *shown[-1:]) if part)


def name_of(system: Document) -> str:
    return plain(str(system["name"]), _NAME)


def entry_of(thing: Document) -> str:
    """``Boot0007 "Fernwick Linux"``, or what is tried without an entry."""
    if not thing.get("entry"):
        return _WITHOUT_ENTRY.get(thing["by"], "No entry")
    label = f' "{plain(str(thing["label"]), _LABEL)}"' if thing.get("label") else ""
    return f"{plain(str(thing['entry']), 20)}{label}"


def what_of(thing: Document) -> str:
    """What would run: the system, else the program."""
    if thing.get("system"):
        return plain(str(thing["system"]), _NAME)
    if thing.get("file"):
        return f"the program {plain(str(thing['file']))}"
    own = "a program in the firmware itself"
    return f'"{plain(str(thing["label"]), _LABEL)}", {own}' if thing.get("label") else own


# the next start


def next_phrase(following: Document) -> str:
    """What starts next and by what, without a full stop: "Fernwick Linux, by its entry Boot0000"."""
    if is_open(following):
        return f"not known ({why_of(following)})"
    if following["by"] == "nothing":
        return "nothing" if following["certain"] else "probably nothing"
    if following["by"] == "setup":
        return "the firmware's own setup, because OsIndications asks for it"
    return f"{_likely(following)}, {by_phrase(following)}"


def is_open(following: Document) -> bool:
    """Whether nothing can be said of the next start, not even what is likely."""
    return following["outcome"] == "unknown" and following["file"] is None


def why_of(thing: Document) -> str:
    return plain(str(thing["why"])) or "something could not be read"


def _likely(following: Document) -> str:
    what = what_of(following)
    if following["certain"]:
        return what
    others = list(dict.fromkeys(what_of(one) for one in following["candidates"]))
    if others == [what]:
        return what
    return f"either {joined(others, 'or')}" if has_free_choice(following) else f"probably {what}"


def has_free_choice(following: Document) -> bool:
    """Whether all that may start is what one entry, or the fallback, leaves open."""
    ways = {(one["by"], one["entry"]) for one in following["candidates"]}
    return following["outcome"] == "starts" and len(ways) == 1 and len(following["candidates"]) > 1


def by_phrase(thing: Document) -> str:
    """By what it starts: "by its entry Boot0000"."""
    if not thing["entry"]:
        return f"by the default file {plain(str(thing['file']))}"
    whose = "its" if thing.get("system") else "the"
    once = ", this once (BootNext)" if thing["by"] == "BootNext" else ""
    return f"by {whose} entry {plain(str(thing['entry']), 20)}{once}"


# systems


def systems_phrase(systems: list[Document]) -> str:
    """Which systems start and how far that was followed, what is worst first; without a full stop."""
    parts = [_none_starts(systems), _not_known(systems), _on_request(systems), *_by_itself(systems)]
    return "; ".join(part for part in parts if part) or "no system was found"


def _named(systems: list[Document], how: str) -> list[str]:
    return [name_of(one) for one in systems if one["how"] == how]


def _none_starts(systems: list[Document]) -> str:
    names = _named(systems, "not at all")
    return f"{joined(names)} {'does' if len(names) == 1 else 'do'} not start" if names else ""


def _not_known(systems: list[Document]) -> str:
    names = _named(systems, "not known")
    return f"whether {joined(names)} {_starts(names)} is not known" if names else ""


def _on_request(systems: list[Document]) -> str:
    names = _named(systems, "on request")
    return f"{joined(names)} {_starts(names)} only when somebody chooses it" if names else ""


def _by_itself(systems: list[Document]) -> list[str]:
    said = []
    for depth in ("kernel", "loader"):
        names = [name_of(one) for one in systems if one["how"] == "by itself" and depth_of(one) == depth]
        if names:
            whose = f"its {depth}" if len(names) == 1 else f"their {depth}s"
            said.append(f"{joined(names)} {_starts(names)} (followed to {whose})")
    return said


def _starts(names: list[str]) -> str:
    return "starts" if len(names) == 1 else "start"


def depth_of(system: Document) -> str:
    """How far the one of its working routes was followed that was followed farthest."""
    alone = system["how"] == "by itself"
    working = [one for one in system["routes"] if one["starts"] and (one["unattended"] or not alone)]
    return "kernel" if any(one["followed_to"] == "kernel" for one in working) else "loader"


def how_phrase(system: Document, following: Document) -> str:
    """How a system starts, as the end of "Quarry: ..."."""
    if system["how"] == "not at all":
        return f"does not start: {plain(str(system['why']))}"
    if system["how"] == "not known":
        return f"whether it starts is not known ({why_of(system)})"
    depth = f"followed to its {depth_of(system)}"
    if system["how"] == "on request":
        return f"starts only when somebody chooses it {_where_chosen(system)}; {depth}"
    if system["name"] in (following["system"], *(one["system"] for one in following["candidates"])):
        return f"{'starts' if _is_sole(system, following) else 'may start'} next; {depth}"
    return f"starts by itself when what is tried before it fails; {depth}"


def _is_sole(system: Document, following: Document) -> bool:
    """Whether nothing else may start next."""
    return all(one["system"] == system["name"] for one in following["candidates"] or [following])


def _where_chosen(system: Document) -> str:
    working = [one for one in system["routes"] if one["starts"]]
    menus = {plain(str(one["through"]), _NAME) for one in working if one["through"]}
    places = ["in the firmware's menu"] if any(one["by"] == "choice" for one in working) else []
    # The firmware comes to its loader by itself, but what that would start by itself is broken.
    places += ["in its own start menu"] if any(one["by"] not in ("choice", "menu") for one in working) else []
    places += [f"in the start menu of {joined(sorted(menus))}"] if menus else []
    return joined(places, "or")


def ways_phrase(system: Document) -> str:
    """The routes that start a system, in short: 'by Boot0000 "Fernwick Linux" and the default file'."""
    ways = dict.fromkeys(_way(route) for route in system["routes"] if route["starts"])
    return f"by {joined(ways)}" if ways else ""


def _way(route: Document) -> str:
    if route["through"]:
        return f"the start menu of {plain(str(route['through']), _NAME)}"
    return entry_or_default(route)


def entry_or_default(route: Document) -> str:
    """By what the firmware comes to a loader, in the middle of a sentence."""
    return entry_of(route) if route["entry"] else "the default file"
