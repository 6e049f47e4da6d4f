"""The sheet's second page: what a machine starts from, as its baseline has it.

What stands here was worked out by the reader when the baseline was saved; nothing is parsed anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from bootwatch.keep.baseline import Baseline
from bootwatch.model.disk import ESP, MBR_ESP, XBOOTLDR, Disk
from bootwatch.model.snapshot import State
from bootwatch.model.variable import key
from bootwatch.tell.made_anew import made_anew_brief
from bootwatch.tell.phrases import counted
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import next_phrase
from bootwatch.tell.text import Block, Bullets, Item, Paragraph, Section, Table, Text

Document = dict[str, Any]

_NAME = 60
_MOST_ENTRIES, _MOST_OTHERS, _MOST_VOLUMES, _MOST_DISKS, _MOST_LOADERS = 12, 4, 8, 6, 6
_NO_DATA = hashlib.sha256(b"").hexdigest()[:16]  # as an entry in the overview has it
_TYPES = {ESP: "EFI system partition", XBOOTLDR: "extended boot loader partition", MBR_ESP: "EFI (MBR)"}


def facts(baseline: Baseline, lacks: Sequence[Document] = ()) -> Text:
    """The machine, its disks, boot volumes and entries, with what people have to type. ``lacks`` are files
    that a start needs and no kit holds."""
    state, view = baseline.state, baseline.overview
    sections = (
        Section("machine", (Table(tuple(_machine(state))),)),
        Section("disks", tuple(_disks(state))),
        Section("boot volumes", tuple(_volumes(state, view, lacks))),
        Section("boot entries, in the order in which the firmware tries them", tuple(_entries(view))),
    )
    return Text(None, "", f'What "{name_of(baseline)}" starts from', sections)


def name_of(baseline: Baseline) -> str:
    return plain(baseline.machine, _NAME)


def _machine(state: State) -> Iterator[tuple[str, str]]:
    yield "Made by", _said(state, "vendor", "product")
    yield "Firmware", _said(state, "firmware_vendor", "firmware_version", "firmware_date")
    yield "Secure Boot", _secure_boot(state)


def _said(state: State, *names: str) -> str:
    found = (state.facts.get(name) for name in names)
    return ", ".join(plain(one, _NAME) for one in found if isinstance(one, str) and one) or "not known"


def _secure_boot(state: State) -> str:
    """UEFI 2.10 §3.3: one byte, 1 for on."""
    variable = state.variables.get(key("SecureBoot"))
    if variable is None:
        return "not known"
    return "on: the firmware refuses what its keys don't allow" if variable.data == b"\1" else "off"


# disks


def _disks(state: State) -> Iterator[Block]:
    fixed = [disk for disk in state.disks.values() if not disk.removable]
    shown = tuple(map(_disk, fixed[:_MOST_DISKS]))
    yield Bullets(shown) if shown else Paragraph("None is known.")
    yield from _rest(len(fixed) - len(shown))


def _disk(disk: Disk) -> str:
    model = plain(disk.model, _NAME) or "without a model's name"
    table = plain(disk.key.partition(":")[2]) if disk.table else ""
    what = f"{disk.table.upper()} {table}" if table else "no partition table"
    return f"{model}, {_size(disk.size)}, {counted(len(disk.partitions), 'partition')}; {what}"


def _size(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 10**9 else f"{count / 1e6:.1f} MB"


def _rest(left: int) -> Iterator[Block]:
    if left > 0:
        yield Paragraph(f"and {left} more, which the baseline names")


# boot volumes


def _volumes(state: State, view: Document, lacks: Sequence[Document]) -> Iterator[Block]:
    found = list(view.get("volumes") or ())
    for number, volume in enumerate(found[:_MOST_VOLUMES], 1):
        yield Item(number, _volume_headline(volume), tuple(_volume_rows(state, volume, lacks)))
    yield from _rest(len(found) - _MOST_VOLUMES)


def _volume_headline(volume: Document) -> str:
    label = f'"{plain(str(volume["label"]), _NAME)}": ' if volume["label"] else ""
    part = f"partition {volume['partition']}" if volume["partition"] is not None else "no partition"
    return f"{label}{part} of the disk {plain(str(volume['disk']), _NAME)}"


def volume_names(view: Document) -> dict[str, str]:
    """What the first page calls each boot volume, by its identity."""
    found = enumerate(view.get("volumes") or (), 1)
    return {str(one["volume"]): _volume_name(number, one) for number, one in found}


def _volume_name(number: int, volume: Document) -> str:
    return f'"{plain(str(volume["label"]), _NAME)}"' if volume["label"] else f"boot volume {number}"


def _volume_rows(state: State, volume: Document, lacks: Sequence[Document]) -> Iterator[tuple[str, str]]:
    known = state.volumes.get(str(volume["volume"]))
    serial = ((known and known.serial) or "").replace("-", "")  # as mkfs.fat takes it
    kind = f", FAT{known.fat_type}" if known and known.fat_type else ""
    yield "id", plain(str(volume["volume"])) + kind + (f", serial {plain(serial, 20)}" if serial else "")
    if volume["type"]:
        use = plain(str(volume["type"]))
        yield "type", f"{use} ({_TYPES[use]})" if use in _TYPES else use
    loaders = [plain(str(path)) for path in volume["loaders"]]
    hidden = [f"{len(loaders) - _MOST_LOADERS} more"] if len(loaders) > _MOST_LOADERS else []
    held = ", ".join([*loaders[:_MOST_LOADERS], *hidden])
    yield "holds", held or f"no loader; {counted(volume['files'], 'file')}"
    own = [one for one in lacks if one["volume"] == volume["volume"]]
    if own:
        yield "no kit", f"holds {made_anew_brief(own)}"


# entries


def _entries(view: Document) -> Iterator[Block]:
    following = (view.get("routes") or {}).get("next_start")
    if following:
        yield Paragraph(f"Usual next start: {next_phrase(following)}.")
    found = [one for one in view.get("entries") or () if one["in_order"]]
    for number, entry in enumerate(found[:_MOST_ENTRIES], 1):
        yield Item(number, entry_headline(entry), tuple(_entry_rows(entry)))
    yield from _rest(len(found) - _MOST_ENTRIES)
    others = [one for one in view.get("entries") or () if not one["in_order"]]
    if others:
        said = (f"{entry_headline(one)}: {plain(str(one['path']))}" for one in others[:_MOST_OTHERS])
        yield Paragraph("Outside the order:")
        yield Bullets(tuple(said))
        yield from _rest(len(others) - _MOST_OTHERS)


def entry_headline(entry: Document) -> str:
    label = f'"{plain(str(entry["label"]), _NAME)}"' if entry["label"] else "without a label"
    off = "" if entry["active"] else ", switched off"
    return f"{label}, {plain(str(entry['entry']), 20)}{off}"


def _entry_rows(entry: Document) -> Iterator[tuple[str, str]]:
    if entry["system"] and entry["system"] != entry["label"]:
        yield "starts", plain(str(entry["system"]), _NAME)
    yield "path", plain(str(entry["path"]))
    if entry.get("firmware_made"):
        yield "note", "made by the firmware itself, for a disk that it found"
    elif has_data(entry):
        yield "note", "carries data of its own, which only the kit's variable brings back"


def has_data(entry: Document) -> bool:
    """Whether there is more in it than a menu's question for a file can make."""
    return bool(entry["data"] != _NO_DATA)
