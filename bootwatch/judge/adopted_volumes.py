"""Volumes, partitions and disks of a baseline, with some of what happened to them taken over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change
from bootwatch.model.disk import Disk, Partition
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

# What each change tells of: fields of the volume and of its partition.
_VOLUME = {
    "partition-reidentified": ("identity", "start", "size"),
    "partition-retyped": ("type",),
    "partition-renumbered": ("number",),
    "volume-reformatted": ("serial", "fat_type", "label"),
}
_PARTITION = {
    "partition-reidentified": ("identifier", "first_lba", "last_lba"),
    "partition-retyped": ("type",),
    "partition-renumbered": ("number",),
    "volume-reformatted": ("content",),
}
# How the firmware runs, which decides which default file and which programs it starts.
_FIRMWARE = ("architecture", "firmware_bits")


def with_volumes(state: State, sides: Sides, changes: Iterable[Change]) -> State | None:
    """``state``, which holds the baseline's volumes by their old identities, with these changes of volumes.

    None where two volumes would need one identity.
    """
    names: dict[str, set[str]] = {}
    added = []
    for one in changes:
        if one.change == "volume-added":
            added.append(str(one.scope["volume"]))
        elif one.change.startswith(("volume-", "partition-")):
            names.setdefault(str(one.scope["volume"]), set()).add(one.change)
    state = _without_lost(state, sides, names)
    pairs = [pair for pair in sides.volumes.same if pair[0].identity in names]
    news = {before.identity: _altered(state, before, now, names[before.identity]) for before, now in pairs}
    volumes = [news.get(identity, one) for identity, one in state.volumes.items()]
    volumes += [_on_known_disk(sides, sides.now.volumes[identity]) for identity in added]
    if len({one.identity for one in volumes}) < len(volumes):
        return None
    disks = state.disks
    for before, now in pairs:
        disks = _with_altered_partition(disks, sides, before, now, names[before.identity])
    for identity in added:
        disks = _with_partition_of(disks, sides, sides.now.volumes[identity])
    return _renamed(replace(state, disks=disks, volumes={one.identity: one for one in volumes}), sides, names)


def _altered(state: State, before: Volume, now: Volume, names: set[str]) -> Volume:
    """The baseline's volume, its files as ``state`` holds them, with today's fields."""
    return replace(state.volumes[before.identity], **_fields(_VOLUME, now, names))


def _fields(table: dict[str, tuple[str, ...]], now: object, names: Iterable[str]) -> dict[str, Any]:
    return {field: getattr(now, field) for name in names for field in table[name]}


# partitions and disks


def _with_altered_partition(
    disks: dict[str, Disk], sides: Sides, before: Volume, now: Volume, names: set[str]
) -> dict[str, Disk]:
    old, new = _partition(disks, before), _partition(sides.now.disks, now)
    if old is None or new is None:
        return disks
    return _with_partition(disks, before, replace(old, **_fields(_PARTITION, new, names)))


def _with_partition(disks: dict[str, Disk], volume: Volume, new: Partition | None) -> dict[str, Disk]:
    """With ``new`` for the partition of a volume; without it for None."""
    old = _partition(disks, volume)
    if old is None:
        return disks
    disk = disks[volume.disk]
    parts = [new if part is old else part for part in disk.partitions]
    return {**disks, volume.disk: replace(disk, partitions=tuple(part for part in parts if part))}


def _partition(disks: dict[str, Disk], volume: Volume) -> Partition | None:
    disk = disks.get(volume.disk)
    parts = disk.partitions if disk else ()
    own = plain(volume.identity)
    return next((part for part in parts if part.identifier == own and part.number == volume.number), None)


def _without_lost(state: State, sides: Sides, names: dict[str, set[str]]) -> State:
    """Without the volumes that are gone: with their partition, unless that is still there, and with their
    disk when that is gone and nothing of it is left in the baseline."""
    lost = [volume for volume in sides.volumes.missing if volume.identity in names]
    gone = {volume.identity for volume in lost}
    volumes = {name: one for name, one in state.volumes.items() if name not in gone}
    disks = state.disks
    for volume in lost:
        disks = _with_partition(disks, volume, sides.partition_left(volume))
    unused = {volume.disk for volume in lost} - {one.disk for one in volumes.values()}
    disks = {name: one for name, one in disks.items() if name not in unused or name in sides.disks.now_of}
    return replace(state, disks=disks, volumes=volumes)


def _on_known_disk(sides: Sides, volume: Volume) -> Volume:
    return replace(volume, disk=sides.disks.name(volume.disk))


def _with_partition_of(disks: dict[str, Disk], sides: Sides, volume: Volume) -> dict[str, Disk]:
    """With the disk of a new volume where that is new too, else with its partition."""
    own, part = sides.disks.name(volume.disk), _partition(sides.now.disks, volume)
    disk = disks.get(own)
    if disk is None:
        today = sides.now.disks.get(volume.disk)
        return {**disks, own: replace(today, key=own)} if today else disks
    if part is None:
        return disks
    rest = [one for one in disk.partitions if one.identifier != part.identifier]
    parts = sorted((*rest, part), key=lambda one: (one.number, one.first_lba))
    return {**disks, own: replace(disk, partitions=tuple(parts))}


def _renamed(state: State, sides: Sides, names: dict[str, set[str]]) -> State:
    """With today's key for each disk of which a partition was re-identified: it may have got a new
    identifier together with that."""
    for before, now in sides.volumes.same:
        is_same = sides.disks.name(now.disk) == before.disk
        if "partition-reidentified" in names.get(before.identity, ()) and is_same:
            state = _with_disk_named(state, before.disk, now.disk)
    return state


def _with_disk_named(state: State, old: str, new: str) -> State:
    if old not in state.disks or new in state.disks:
        return state
    return replace(
        state,
        disks={
            (new if name == old else name): replace(one, key=new) if name == old else one
            for name, one in state.disks.items()
        },
        volumes={
            name: replace(one, disk=new) if one.disk == old else one for name, one in state.volumes.items()
        },
    )


def with_surroundings(state: State, sides: Sides) -> State:
    """With every disk attached where it is now, and the firmware running as it does now."""
    disks = dict(state.disks)
    for old, now in sides.disks.now_of.items():
        own = old if old in disks else now.key
        if own in disks:
            disks[own] = replace(disks[own], address=now.address, ports=now.ports)
    firmware = {name: sides.now.facts[name] for name in _FIRMWARE if name in sides.now.facts}
    return replace(state, disks=disks, facts=state.facts | firmware)


# gaps


def gaps_with(before: tuple[Gap, ...], sides: Sides, changes: Iterable[Change]) -> tuple[Gap, ...]:
    """The baseline's gaps, those of a volume also under its new identity, and those of new volumes: what
    could not be read of these must not become something that isn't there."""
    found = list(before)
    today = {old.identity: now.identity for old, now in sides.volumes.same}
    for one in changes:
        volume = str(one.scope.get("volume"))
        if one.change == "partition-reidentified":
            found += [replace(gap, name=today[volume]) for gap in before if _is_of(gap, volume)]
        elif one.change == "volume-added":
            found += [gap for gap in sides.gaps if _is_of(gap, volume)]
    return tuple(dict.fromkeys(found))


def _is_of(gap: Gap, volume: str) -> bool:
    return gap.kind == "volume" and gap.name == volume
