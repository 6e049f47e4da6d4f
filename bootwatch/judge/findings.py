"""What is wrong by itself, whether or not it drifted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from bootwatch.formats.device_path import DevicePath
from bootwatch.judge.drafts import stable_id
from bootwatch.judge.entries import Entry, entry_name, read_entries, read_next, read_order
from bootwatch.judge.entry_changes import describe as describe_entry
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Systems
from bootwatch.judge.volume_changes import describe as describe_volume
from bootwatch.model.change import Finding
from bootwatch.model.disk import BOOT_TYPES
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level
from bootwatch.model.path import is_within
from bootwatch.model.snapshot import State

_LEVELS = {
    "volume-not-esp": Level.WEAKENED,
    "removable-first": Level.WEAKENED,
    "next-left-behind": Level.CHANGED,
    "same-identifiers": Level.WEAKENED,
    "unseen": Level.CHANGED,
}
_MESSAGING = 3
_USB, _USB_WWID, _USB_CLASS = 5, 16, 15


def findings(scene: Scene) -> tuple[Finding, ...]:
    """All findings that need no baseline."""
    state, systems = scene.state, scene.systems
    return (
        *_not_esp(state, systems),
        *_removable_first(state, systems),
        *_next_left_behind(state, systems),
        *_same_identifiers(state),
    )


def _finding(name: str, identity: tuple[str, ...], system: str | None, what: str, where: str) -> Finding:
    return Finding(stable_id(name, identity), name, _LEVELS[name], system, what, where)


def _not_esp(state: State, systems: Systems) -> Iterator[Finding]:
    """Firmware doesn't look at the type; installers and automatic mounts do."""
    for volume in state.volumes.values():
        if volume.type is not None and volume.type not in BOOT_TYPES and volume.file("\\EFI"):
            system = systems.of_volume(volume.identity)
            where = f"{volume.identity}, type {volume.type}"
            yield _finding(
                "volume-not-esp", (volume.identity,), system, describe_volume(volume, system), where
            )


def _removable_first(state: State, systems: Systems) -> Iterator[Finding]:
    entries = read_entries(state)
    first = next(
        (entries[number] for number in read_order(state) if number in entries and entries[number].is_tried),
        None,
    )
    if first and _is_removable(state, first):
        where = ", ".join(part for part in (first.name, first.volume or first.path) if part)
        yield _finding(
            "removable-first", first.identity, systems.of_entry(first), describe_entry(first), where
        )


def _is_removable(state: State, entry: Entry) -> bool:
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


def _next_left_behind(state: State, systems: Systems) -> Iterator[Finding]:
    """The firmware takes BootNext away before it obeys it: one that is there is still to come."""
    number = read_next(state)
    if number is None:
        return
    entry = read_entries(state).get(number)
    what = describe_entry(entry) if entry else f"the entry {entry_name(number)}, which does not exist"
    system = systems.of_entry(entry) if entry else None
    yield _finding("next-left-behind", ("BootNext",), system, what, f"BootNext = {entry_name(number)}")


def _same_identifiers(state: State) -> Iterator[Finding]:
    disks = Counter(plain(disk.key) for disk in state.disks.values() if not disk.key.startswith("at:"))
    parts = Counter(part.identifier for disk in state.disks.values() for part in disk.partitions)
    bare = Counter(plain(volume.identity) for volume in state.volumes.values() if volume.number is None)
    for noun, count in (("the disk", disks), ("the partition", parts), ("the volume", bare)):
        for identifier, number in sorted(count.items()):
            if number > 1:
                yield _finding(
                    "same-identifiers",
                    (identifier,),
                    None,
                    f"{noun} {identifier}",
                    f"{number} times {identifier}",
                )


def unseen(sides: Sides) -> Iterator[Finding]:
    """What the baseline holds and could not be read this time, one finding for each gap."""
    for gap in sides.gaps:
        what = _held(sides, gap)
        if what:
            identity = (gap.kind, gap.name, gap.path or "")
            yield _finding("unseen", identity, None, what, f"{gap.reason.value}: {gap.detail}")


def _held(sides: Sides, gap: Gap) -> str | None:
    """What of the baseline a gap hides, as a noun phrase; None when the baseline holds nothing of it."""
    if gap.kind == "variables":
        return _held_variables(sides, gap)
    if gap.kind == "disk":
        gone = [volume for volume in sides.volumes.missing if not sides.knows_volume_gone(volume)]
        return f"the disk {gap.name}" if gone or gap.name == "*" else None
    if gap.kind == "volume":
        held = next(
            (one for one in sides.before.volumes.values() if plain(one.identity) == plain(gap.name)), None
        )
        if held is None:
            return None
        volume = describe_volume(held, sides.systems.of_volume(held.identity))
        if gap.path is None:
            return volume
        holds = any(is_within(path, gap.path) for path in held.files)
        return f"the file or folder {gap.path} on {volume}" if holds else None
    return None


def _held_variables(sides: Sides, gap: Gap) -> str | None:
    if gap.name == "*":
        return "the firmware's variables"
    if gap.name not in sides.before.variables and gap.name not in sides.unread_entries:
        return None
    return f"the firmware's variable {gap.name.partition('-')[0]}"
