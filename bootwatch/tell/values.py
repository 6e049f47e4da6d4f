"""What was there before and after a change, in words: for reports and messages."""

from __future__ import annotations

import json
from typing import Any

from bootwatch.model.change import Change
from bootwatch.tell.plain import plain

# A shape that this version doesn't know is shown as JSON, cut here.
_LIMIT = 200

_TYPES = {
    "c12a7328-f81f-11d2-ba4b-00a0c93ec93b": "EFI system partition",
    "bc13c2ff-59e6-4262-a352-b275fd6f7172": "extended boot loader partition",
    "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7": "basic data",
    "0fc63daf-8483-4772-8e79-3d69d8477de4": "Linux data",
    "mbr:ef": "EFI system partition",
    "mbr:0c": "FAT32 data",
}


def before_and_after(change: Change) -> tuple[str, str]:
    """``change``'s two sides in words, harmless; identifiers only where the sides differ in them."""
    before, after = change.before, change.after
    return _shown(change.change, before, after, "not there"), _shown(change.change, after, before, "gone")


def _shown(name: str, value: Any, other: Any, absent: str) -> str:
    if name == "timeout-changed":
        return _timeout(value)
    if value is None:
        return "none" if name == "next-set" else absent
    if isinstance(value, list):
        return _order(value)
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, dict):
        return _thing(value, other if isinstance(other, dict) else {})
    return _raw(value)


def _thing(value: dict[str, Any], other: dict[str, Any]) -> str:
    if "entry" in value:
        return _entry(value, other)
    if "sha256" in value:
        return _file(value, other)
    return _volume(value, other) if "volume" in value else _raw(value)


def _entry(entry: dict[str, Any], other: dict[str, Any]) -> str:
    parts = [_named(entry)]
    if entry.get("file") and _tells("file", entry, other):
        parts.append(plain(str(entry["file"])))
    if "active" in entry and _tells("active", entry, other):
        parts.append("active" if entry["active"] else "switched off")
    if _differ("volume", entry, other):
        parts.append(f"on {plain(str(entry['volume']))}")
    if _differ("partition", entry, other):
        parts.append(f"partition {plain(str(entry['partition']), 20)}")
    if entry.get("leads_nowhere"):
        parts.append("its device is not found where it says")
    if _differ("data", entry, other):
        parts.append(f"data {plain(str(entry['data']), 20)}" if entry["data"] else "no data")
    return ", ".join(parts)


def _named(entry: Any) -> str:
    if not isinstance(entry, dict) or "entry" not in entry:
        return _raw(entry)
    number, label = plain(str(entry["entry"]), 20), entry.get("label")
    return f'{number} "{plain(str(label), 120)}"' if label is not None else number


def _order(entries: list[Any]) -> str:
    return ", ".join(_named(entry) for entry in entries) or "empty"


def _file(file: dict[str, Any], other: dict[str, Any]) -> str:
    size = file.get("size")
    parts = [f"{size:,} bytes" if isinstance(size, int) else "size unknown"]
    if _differ("sha256", file, other) and file["sha256"]:
        parts.append(f"content {plain(str(file['sha256']))[:8]}")
    return ", ".join(parts)


def _volume(volume: dict[str, Any], other: dict[str, Any]) -> str:
    told = {key: value for key, value in volume.items() if value and _tells(key, volume, other)}
    parts = [f"partition {plain(str(told['partition']), 20)}"] if "partition" in told else []
    parts += [f'named "{plain(str(told["label"]), 40)}"'] if "label" in told else []
    parts += [f"on the disk {plain(str(told['disk']), 80)}"] if "disk" in told else []
    if "type" in told:
        kind = str(told["type"]).lower()
        parts.append(f"type {_TYPES.get(kind, plain(kind, 40))}")
    if _differ("serial", volume, other):
        parts.append(f"serial number {plain(str(volume['serial']), 40)}")
    if "file_system" in volume and volume["file_system"] is None:
        parts.append("no file system that firmware starts from")
    if _differ("volume", volume, other) or not parts:
        parts.append(f"identifier {plain(str(volume['volume']))}")
    return ", ".join(parts)


def _differ(key: str, value: dict[str, Any], other: dict[str, Any]) -> bool:
    return key in value and key in other and value[key] != other[key]


def _tells(key: str, value: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether showing ``key`` says something: there is no other side, or it differs there."""
    return not other or value.get(key) != other.get(key)


def _timeout(value: Any) -> str:
    if value is None:
        return "not set"
    if value == 0xFFFF:
        return "until a person chooses"
    return f"{value} seconds" if isinstance(value, int) and value != 1 else f"{_raw(value)} second"


def _raw(value: Any) -> str:
    return plain(json.dumps(value, separators=(",", ":"), sort_keys=True, default=str), _LIMIT)
