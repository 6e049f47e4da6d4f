"""What starts next, the way to it, and every system with its routes, as a technician reads it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bootwatch.model.gap import Gap, Reason
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import (
    entry_of,
    entry_or_default,
    has_free_choice,
    how_phrase,
    is_open,
    name_of,
    next_phrase,
    what_of,
    why_of,
)
from bootwatch.tell.unread import unread

Document = dict[str, Any]

_MOST_STEPS = 16
_MOST_ROUTES = 8
_MOST_SYSTEMS = 12
_MOST_MISSES = 3
_INDENT = " " * 12
_STARTS = {True: "starts", False: "fails", None: "unknown"}
_OUTCOMES = {"starts": "starts", "passed": "passed over", "unknown": "can't be told"}
_FIND_OUT = {
    Reason.ABSENT: "See whether that disk or file system is attached and switched on.",
    Reason.DENIED: "Run it with the rights to read everything: sudo bootwatch routes.",
    Reason.DAMAGED: "Have its file system or table checked, once all that matters on it is copied.",
    Reason.UNREADABLE: "See whether the disk is failing (journalctl -k), and copy what matters from it.",
    Reason.LIMIT: "See what takes so much room there: it is more than belongs on a boot volume.",
    Reason.NOT_RECORDED: "Take a new snapshot: sudo bootwatch snapshot.",
}


def routes_report(document: Document, width: int = 80) -> str:
    """The next start in one sentence; the trail in the firmware's order; systems with their routes; what was
    predicted before; what could not be read. Ends with a newline."""
    parts = [
        _head(document, width),
        _trail(document, width),
        *_systems(document, width),
        _rest(document, width),
        _record(document, width),
        _gaps(document, width),
        _find_out(document, width),
        _cautions(document, width),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


# the next start


def _head(document: Document, width: int) -> list[str]:
    following = document["next_start"]
    machine = plain(str(document["machine"]))
    if is_open(following):
        first = f"{machine}: what starts if it is switched on now is not known: {why_of(following)}."
    elif following["by"] == "nothing":
        maybe = "" if following["certain"] else "probably "
        first = f"{machine}: switched on now, it would {maybe}start nothing and show the firmware's menu."
    else:
        first = f"{machine}: switched on now, it would start {next_phrase(following)}."
    return [
        *wrapped(first, width),
        *_candidates(following, width),
        *_running(document.get("running"), width),
        *_looked_at(document, width),
    ]


def _candidates(following: Document, width: int) -> list[str]:
    """All that may start, where that isn't certain."""
    if following["certain"] or not following["candidates"]:
        return []
    why = "the firmware has a free choice" if has_free_choice(following) else why_of(following)
    said = "" if is_open(following) else f"That is not certain: {why}. "
    lines = wrapped(f"{said}What may start:", width)
    for one in following["candidates"]:
        lines += wrapped(f"{entry_of(one)}: {_candidate(one)}", width, "  - ")
    return lines


def _candidate(one: Document) -> str:
    place = _place(one)
    if one["file"] is None:
        return f"what it leads to could not be read{place and f' ({place})'}"
    return f"{(one['system'] and what_of(one) + ', ') or ''}{place}"


def _running(running: Document | None, width: int) -> list[str]:
    if not running or not running["system"]:
        return []
    by = f", started by {entry_of(running)}" if running["entry"] else ""
    doubt = f" {plain(str(running['doubt']))}" if running["doubt"] else ""
    return wrapped(f"{plain(str(running['system']), 60)} is running now{by}.{doubt}", width)


def _looked_at(document: Document, width: int) -> list[str]:
    when = phrases.moment(str(document["time"]))
    return wrapped(f"Worked out from {phrases.reading(document['snapshot'])}, {when}.", width)


# the trail


def _trail(document: Document, width: int) -> list[str]:
    steps = document["trail"]
    if not steps:
        return []
    lines = wrapped("What the firmware tries, in this order, until something starts", width)
    shown = steps if len(steps) <= _MOST_STEPS else [*steps[: _MOST_STEPS - 1], steps[-1]]
    hidden = len(steps) - len(shown) + document["more"]["trail"]
    for number, step in enumerate(shown, 1):
        if hidden and step is shown[-1]:
            lines += ["", *wrapped(f"({hidden} more are passed over: see --json)", width, "      ")]
            number += hidden
        lines += ["", *_step(number, step, width)]
    return lines


def _step(number: int, step: Document, width: int) -> list[str]:
    once = ", asked for once (BootNext)" if step["by"] == "BootNext" and step["entry"] else ""
    lines = wrapped(f"{entry_of(step)}{once}", width, f"{number:>4}  ")
    outcome = _OUTCOMES.get(step["outcome"], plain(str(step["outcome"]), 20))
    lines += wrapped(f"{outcome}: {plain(str(step['why']))}", width, "      ")
    for choice in step["choices"]:
        said = f"{_STARTS[choice['starts']]}: {_place(choice) or plain(str(choice['why']))}"
        lines += wrapped(said, width, "      - ")
    if not step["choices"] and _place(step):
        lines += wrapped(_place(step), width, "      ")
    return lines


def _place(thing: Document) -> str:
    """File and volume, as far as they are known: identifiers, which come last."""
    return ", ".join(plain(str(part)) for part in (thing["file"], thing["volume"]) if part)


# systems and routes


def _systems(document: Document, width: int) -> Iterator[list[str]]:
    systems = document["systems"]
    if not systems:
        yield wrapped("No system was found: no entry and no folder of a loader tells of one.", width)
    for system in systems[:_MOST_SYSTEMS]:
        yield _system(system, document, width)
    hidden = len(systems[_MOST_SYSTEMS:]) + document["more"]["systems"]
    if hidden:
        yield wrapped(f"and {phrases.counted(hidden, 'more system')}: see --json", width)


def _system(system: Document, document: Document, width: int) -> list[str]:
    lines = wrapped(f"{name_of(system)}: {how_phrase(system, document['next_start'])}", width, "", "  ")
    if system["also"]:
        also = ", ".join(f'"{plain(str(name), 60)}"' for name in system["also"][:6])
        lines += wrapped(f"also called {also}", width, "  ")
    if system["removable"]:
        lines += ["  on a removable disk"]
    routes = sorted(system["routes"], key=lambda route: _STARTS_FIRST[route["starts"]])
    for route in routes[:_MOST_ROUTES]:
        lines += ["", *_route(route, document, width)]
    hidden = len(routes[_MOST_ROUTES:]) + system["more"]
    if hidden:
        lines += ["", *wrapped(f"and {phrases.counted(hidden, 'more route')}: see --json", width, _INDENT)]
    return lines


_STARTS_FIRST = {True: 0, None: 1, False: 2}


def _route(route: Document, document: Document, width: int) -> list[str]:
    lines = wrapped(_way(route), width, f"  {_STARTS[route['starts']]:<10}")
    lines += wrapped("; ".join(_known_of(route)), width, _INDENT)
    place = _place(route)
    return lines + (wrapped(f"{place}{_called(route, document)}", width, _INDENT) if place else [])


def _way(route: Document) -> str:
    """By what the firmware comes to a route, and whether a person has to choose it."""
    if route["through"]:
        menu = f"The start menu of {plain(str(route['through']), 60)}"
        return f"{menu}, which {entry_or_default(route)} leads to"
    if route["by"] == "choice":
        return f"{entry_of(route)}, only from the firmware's menu"
    chosen = "" if route["unattended"] else ", then a choice in its start menu"
    if route["by"] == "fallback":
        return f"The default file, by itself when no entry starts{chosen}"
    return f"{entry_of(route)}{chosen}"


def _known_of(route: Document) -> Iterator[str]:
    """How sure it is that a route starts, and why."""
    why = plain(str(route["why"]))
    if route["starts"] and route["file"]:
        only = " only" if route["followed_to"] == "loader" else ""
        yield f"followed to its {plain(str(route['followed_to']), 20)}{only}: {why}"
    else:
        yield why
    proven = route.get("proven")
    if proven:
        # Of a default file it isn't known by which way it was come to.
        said = "proven" if route["entry"] else "its loader was started"
        yield f"{said} on {phrases.day(str(proven['date']))} (snapshot {proven['snapshot']})"


def _called(route: Document, document: Document) -> str:
    volume = next((one for one in document["volumes"] if one["volume"] == route["volume"]), None)
    parts = [f'"{plain(str(volume["label"]), 40)}"'] if volume and volume["label"] else []
    parts += [plain(str(volume["disk"]), 60)] if volume and volume["disk"] else []
    return f" ({', '.join(parts)})" if parts else ""


def _rest(document: Document, width: int) -> list[str]:
    """Routes that lead to no system."""
    rest = [route for route in document["routes"] if route["system"] is None]
    if not rest:
        return []
    lines = ["Routes that lead to no system"]
    for route in rest[:_MOST_ROUTES]:
        lines += ["", *_route(route, document, width)]
    hidden = len(rest[_MOST_ROUTES:]) + document["more"]["routes"]
    if hidden:
        lines += ["", *wrapped(f"and {phrases.counted(hidden, 'more route')}: see --json", width, _INDENT)]
    return lines


# how far to trust it


def _record(document: Document, width: int) -> list[str]:
    record = document.get("record")
    if record is None:
        return []
    lines = wrapped(f"Predictions: {record_phrase(record)}.", width)
    for miss in record["misses"][:_MOST_MISSES]:
        said = f"Snapshot {miss['snapshot']}, {phrases.day(str(miss['time']))}: {plain(str(miss['why']))}"
        lines += wrapped(said, width, "  - ")
    for habit in document.get("habits") or []:
        last = f"Last on {phrases.day(str(habit['last']))}: {plain(str(habit['what']))}."
        lines += wrapped(f"{plain(str(habit['sentence']))} {last}", width)
    return lines


def record_phrase(record: Document) -> str:
    """ "right 41 of 42 times here"."""
    unknown = f"; {record['unknown']} more could not be checked" if record["unknown"] else ""
    if not record["judged"]:
        return f"none could be checked here yet{unknown and ' (' + str(record['unknown']) + ' starts)'}"
    times = "time" if record["judged"] == 1 else "times"
    return f"right {record['right']} of {record['judged']} {times} here{unknown}"


def _gaps(document: Document, width: int) -> list[str]:
    gaps = [Gap.from_json(item) for item in document["gaps"]]
    return unread(gaps, width, more=document["more"]["gaps"])


def _find_out(document: Document, width: int) -> list[str]:
    """What helps to know more, where something about starting could not be told."""
    if document["next_start"]["certain"] and all(one["starts"] is not None for one in document["systems"]):
        return []
    lines = ["How to find out", ""]
    for sentence in dict.fromkeys(_advice(document)):
        lines += wrapped(sentence, width, "  - ")
    return lines


def _advice(document: Document) -> Iterator[str]:
    if has_free_choice(document["next_start"]):
        yield "Leave only one of those disks attached, or give one of them identifiers of its own."
    for item in document["gaps"]:
        yield _FIND_OUT[Gap.from_json(item).reason]
    yield (
        "Start each system once, with somebody there who can choose another one in the firmware's menu: that "
        "shows it."
    )


def _cautions(document: Document, width: int) -> list[str]:
    return [line for one in document["cautions"] for line in wrapped(f"Take care: {plain(str(one))}", width)]
