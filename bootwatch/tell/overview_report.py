"""What a machine starts from, as a technician reads it."""

from __future__ import annotations

from typing import Any

from bootwatch.model.change import Finding
from bootwatch.model.gap import Gap
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain

_MOST_GAPS = 20


def overview_report(view: dict[str, Any], width: int = 80) -> str:
    """Entries in the order in which the firmware tries them, then the boot volumes. Ends with a newline."""
    lines = ["Boot entries, in the order in which the firmware tries them"]
    in_order = [entry for entry in view.get("entries", []) if entry["in_order"]]
    rest = [entry for entry in view.get("entries", []) if not entry["in_order"]]
    for entry in in_order:
        lines += _entry(entry, width)
    for name in view.get("without_variable", []):
        lines += wrapped(f"{plain(str(name))}, which is in the order, does not exist.", width, "  ")
    if not in_order:
        lines += ["  none"]
    if rest:
        lines += ["", "Boot entries that the firmware does not try by itself"]
        for entry in rest:
            lines += _entry(entry, width)
    if view.get("next"):
        lines += ["", *wrapped(f"Once, at the very next start: {plain(str(view['next']))}.", width)]
    lines += ["", "Boot volumes"]
    for volume in view.get("volumes", []):
        lines += _volume(volume, width)
    if not view.get("volumes"):
        lines += ["  none"]
    return "\n".join(lines) + "\n"


def doubts(view: dict[str, Any], width: int = 80) -> str:
    """What looks wrong about it: findings, dead entries, then gaps; "" where nothing does."""
    lines: list[str] = []
    for item in view.get("findings", []):
        finding = Finding.from_json(item)
        lines += wrapped(f"- {phrases.headline(finding)} {phrases.consequence(finding)}", width, "  ", "    ")
    for entry in view.get("entries", []):
        if entry["in_order"] and entry["active"] and entry["file_there"] is False:
            label = plain(str(entry["label"] or entry["entry"]), 120)
            lines += wrapped(f'- The entry "{label}" names a file that is not there.', width, "  ", "    ")
    for name in view.get("without_variable", []):
        lines += wrapped(f"- The order names {plain(str(name))}, which does not exist.", width, "  ", "    ")
    gaps = [Gap.from_json(item) for item in view.get("gaps", [])]
    for hole in gaps[:_MOST_GAPS]:
        lines += wrapped(f"- Could not be read: {phrases.gap(hole)}.", width, "  ", "    ")
    if len(gaps) > _MOST_GAPS:
        lines += wrapped(f"- and {len(gaps) - _MOST_GAPS} more could not be read.", width, "  ")
    return "".join(f"{line}\n" for line in lines)


def _entry(entry: dict[str, Any], width: int) -> list[str]:
    label = f'"{plain(str(entry["label"]), 120)}"' if entry["label"] else "without a label"
    off = "" if entry["active"] else ", switched off"
    lines = wrapped(f"{label}{off}", width, "  ", "    ")
    if entry["file"]:
        missing = " (this file is not there)" if entry["file_there"] is False else ""
        lines += wrapped(f"starts {plain(str(entry['file']))}{missing}", width, "    ", "      ")
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
