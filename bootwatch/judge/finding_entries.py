"""What is wrong with the firmware's boot entries and their order (UEFI 2.10 §3.1)."""

from __future__ import annotations

import re
from collections.abc import Iterator

from bootwatch.formats.device_path import DevicePath
from bootwatch.judge.entries import (
    Entry,
    entry_name,
    read_entries,
    read_next,
    read_option,
    read_order,
    variable_of,
)
from bootwatch.judge.entry_changes import describe
from bootwatch.judge.finding import MOST, told
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL, entry_number, split_file_name

_MESSAGING = 3
_USB, _USB_WWID, _USB_CLASS = 5, 16, 15
_LIKE_ENTRY = re.compile(r"Boot[0-9A-F]{4}", re.IGNORECASE)


def of_entries(scene: Scene) -> Iterator[Finding]:
    """All findings about entries."""
    yield from _removable_first(scene)
    yield from _next_left_behind(scene)
    yield from _order_without_variable(scene)
    yield from _lower_case(scene)


def _removable_first(scene: Scene) -> Iterator[Finding]:
    entries = read_entries(scene.state)
    tried = (entries[number] for number in read_order(scene.state) if number in entries)
    first = next((entry for entry in tried if entry.is_tried), None)
    if first and leads_to_removable(scene.state, first):
        where = ", ".join(part for part in (first.name, first.volume or first.path) if part)
        system = scene.systems.of_entry(first)
        yield told("removable-first", first.identity, describe(first), where, system=system)


def leads_to_removable(state: State, entry: Entry) -> bool:
    """Whether an entry leads to a removable disk, or to whatever is plugged into USB."""
    if entry.volume:
        return any(
            disk.removable
            for disk in state.disks.values()
            for part in disk.partitions
            if part.identifier == entry.volume
        )
    path = DevicePath.parse(bytes.fromhex(entry.target.removeprefix("path:")))
    return any(
        node.type == _MESSAGING and node.subtype in (_USB, _USB_WWID, _USB_CLASS) for node in path.nodes
    )


def _next_left_behind(scene: Scene) -> Iterator[Finding]:
    """The firmware takes BootNext away before it obeys it: one that is there is still to come."""
    number = read_next(scene.state)
    if number is None:
        return
    entry = read_entries(scene.state).get(number)
    what = describe(entry) if entry else f"the entry {entry_name(number)}, which does not exist"
    system = scene.systems.of_entry(entry) if entry else None
    yield told("next-left-behind", ("BootNext",), what, f"BootNext = {entry_name(number)}", system=system)


def _order_without_variable(scene: Scene) -> Iterator[Finding]:
    """edk2 takes such numbers out of the order; a variable that could not be read is not missing."""
    unread = {gap.name for gap in scene.gaps if gap.kind == "variables"}
    entries = read_entries(scene.state)
    lost = [
        number
        for number in dict.fromkeys(read_order(scene.state))
        if number not in entries and unread.isdisjoint(("*", variable_of(number)))
    ]
    if lost:
        names = [entry_name(number) for number in lost]
        yield told("order-without-variable", ("BootOrder",), _listed(names), _why(scene.state, lost))


def _listed(names: list[str]) -> str:
    """The entries of these names as a noun phrase."""
    if len(names) == 1:
        return f"the entry {names[0]}"
    shown = names[:MOST]
    more = len(names) - len(shown)
    last = f"{more} more" if more else shown.pop()
    return f"the entries {', '.join(shown)} and {last}"


def _why(state: State, numbers: list[int]) -> str:
    parts = []
    for number in numbers[:MOST]:
        is_there = variable_of(number) in state.variables
        parts.append(f"{entry_name(number)}: {'malformed' if is_there else 'no variable'}")
    return "BootOrder; " + ", ".join(parts)


def _lower_case(scene: Scene) -> Iterator[Finding]:
    """Variables that only look like entries: their numbers are spelled with small letters."""
    found = 0
    for file_name, variable in sorted(scene.state.variables.items()):
        split = split_file_name(file_name)
        is_like = split and split[1] == GLOBAL and _LIKE_ENTRY.fullmatch(split[0])
        if not split or not is_like or entry_number(file_name) is not None:
            continue
        option = read_option(variable.data)
        label = f'the entry "{option.description}"' if option and option.description else "the entry"
        yield told("lower-case-entry", (split[0],), f"{label} ({split[0]})", f"the variable {file_name}")
        found += 1
        if found == MOST:
            return
