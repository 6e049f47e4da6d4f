"""What a machine starts from, as a technician reads it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bootwatch.model.change import Finding
from bootwatch.model.gap import Gap
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import how_phrase, name_of, next_phrase, ways_phrase

_MOST_GAPS = 20
_MOST_SYSTEMS = 12


def overview_report(view: dict[str, Any], width: int = 80) -> str:
    """Which systems start and how; entries in the order in which the firmware tries them; the boot volumes.

    Ends with a newline.
    """
    verdicts = _verdicts(view)
    lines = [
        *_systems(view.get("routes"), width),
        "Boot entries, in the order in which the firmware tries them",
    ]
    in_order = [entry for entry in view.get("entries", []) if entry["in_order"]]
    rest = [entry for entry in view.get("entries", []) if not entry["in_order"]]
    for entry in in_order:
        lines += _entry(entry, verdicts, width)
    for name in view.get("without_variable", []):
        lines += wrapped(f"{plain(str(name))}, which is in the order, does not exist.", width, "  ")
    if not in_order:
        lines += ["  none"]
    if rest:
        lines += ["", "Boot entries that the firmware does not try by itself"]
        for entry in rest:
            lines += _entry(entry, verdicts, width)
    if view.get("next"):
        lines += ["", *wrapped(f"Once, at the very next start: {plain(str(view['next']))}.", width)]
    lines += ["", "Boot volumes"]
    for volume in view.get("volumes", []):
        lines += _volume(volume, width)
    if not view.get("volumes"):
        lines += ["  none"]
    return "\n".join(lines) + "\n"


def doubts(view: dict[str, Any], width: int = 80) -> str:
    """What looks wrong: systems that don't start, findings, entries that fail, gaps; "" for nothing."""
    lines: list[str] = []
    for sentence in _dead_systems(view.get("routes")):
        lines += wrapped(f"- {sentence}", width, "  ", "    ")
    for item in view.get("findings", []):
        finding = Finding.from_json(item)
        lines += wrapped(f"- {phrases.headline(finding)} {phrases.consequence(finding)}", width, "  ", "    ")
    verdicts = _verdicts(view)
    for entry in view.get("entries", []):
        why = _failure(entry, verdicts)
        # An entry that the firmware makes for a disk by itself says nothing about a system.
        if why and entry["in_order"] and entry["active"] and not entry.get("firmware_made"):
            label = plain(str(entry["label"] or entry["entry"]), 120)
            lines += wrapped(f'- The entry "{label}" starts nothing: {why}.', width, "  ", "    ")
    for name in _lost_numbers(view):
        lines += wrapped(f"- The order names {plain(str(name))}, which does not exist.", width, "  ", "    ")
    gaps = [Gap.from_json(item) for item in view.get("gaps", [])]
    for hole in gaps[:_MOST_GAPS]:
        lines += wrapped(f"- Could not be read: {phrases.gap(hole)}.", width, "  ", "    ")
    if len(gaps) > _MOST_GAPS:
        lines += wrapped(f"- and {len(gaps) - _MOST_GAPS} more could not be read.", width, "  ")
    return "".join(f"{line}\n" for line in lines)


def _lost_numbers(view: dict[str, Any]) -> list[Any]:
    """Numbers in the order without an entry, where no finding says so already."""
    is_told = any(item.get("finding") == "order-without-variable" for item in view.get("findings", []))
    return [] if is_told else list(view.get("without_variable", []))


def _systems(routes: dict[str, Any] | None, width: int) -> list[str]:
    """Nothing for a snapshot of before routes were worked out."""
    if routes is None:
        return []
    following = routes["next_start"]
    lines = [*wrapped(f"Next start: {next_phrase(following)}", width), "", "Systems"]
    for system in routes["systems"][:_MOST_SYSTEMS]:
        lines += wrapped(f"{name_of(system)}: {how_phrase(system, following)}", width, "  ", "    ")
        lines += wrapped(ways_phrase(system), width, "    ", "      ") if system["starts"] else []
    hidden = len(routes["systems"][_MOST_SYSTEMS:]) + routes["more"]["systems"]
    lines += [f"  and {phrases.counted(hidden, 'more system')}"] if hidden else []
    return [*lines, *([] if routes["systems"] else ["  none"]), ""]


def _dead_systems(routes: dict[str, Any] | None) -> Iterator[str]:
    for system in routes["systems"] if routes else ():
        name, why = name_of(system), plain(str(system["why"]))
        if system["starts"] is False:
            yield f"{name} does not start: {why}."
        elif system["starts"] is None:
            yield f"Whether {name} starts is not known: {why}."


def _verdicts(view: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The routes of each entry."""
    found: dict[str, list[dict[str, Any]]] = {}
    for route in (view.get("routes") or {}).get("routes", []):
        if route["entry"]:
            found.setdefault(route["entry"], []).append(route)
    return found


def _failure(entry: dict[str, Any], verdicts: dict[str, list[dict[str, Any]]]) -> str:
    """Why an entry starts nothing; "" where it starts something, or that isn't known."""
    routes = verdicts.get(entry["entry"], [])
    if routes and all(route["starts"] is False for route in routes):
        return plain(str(routes[0]["why"]))
    # Of before routes were worked out.
    return "the file is not there" if entry.get("file_there") is False else ""


def _entry(entry: dict[str, Any], verdicts: dict[str, list[dict[str, Any]]], width: int) -> list[str]:
    label = f'"{plain(str(entry["label"]), 120)}"' if entry["label"] else "without a label"
    off = "" if entry["active"] else ", switched off"
    lines = wrapped(f"{label}{off}", width, "  ", "    ")
    why = _failure(entry, verdicts)
    if entry["file"]:
        names = "names" if why else "starts"
        lines += wrapped(f"{names} {plain(str(entry['file']))}", width, "    ", "      ")
    if why:
        lines += wrapped(f"starts nothing: {why}", width, "    ", "      ")
    where = entry["volume"] or entry["path"]
    return lines + wrapped(f"{entry['entry']}  {plain(str(where))}", width, "    ", "      ")


def _volume(volume: dict[str, Any], width: int) -> list[str]:
    what = plain(str(volume["what"]))
    size = f"{phrases.counted(volume['files'], 'file')}, {_size(volume['bytes'])}"
    lines = wrapped(f"{what[:1].upper()}{what[1:]}: {size}", width, "  ", "    ")
    for path in volume["loaders"]:
        lines += wrapped(f"loader {plain(str(path))}", width, "    ", "      ")
    partition = f", partition {volume['partition']}" if volume["partition"] is not None else ""
    where = f"{plain(str(volume['volume']))}{partition}, {plain(str(volume['disk']))}"
    return lines + wrapped(where, width, "    ", "      ")


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count / 1e3:.1f} kB"
