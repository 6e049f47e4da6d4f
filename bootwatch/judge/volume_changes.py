"""What happened to boot volumes and the partitions they lie in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bootwatch.judge.drafts import Draft
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume


def volume_changes(sides: Sides) -> Iterator[Draft]:
    """Missing, added and altered boot volumes."""
    for volume in sides.volumes.missing:
        if sides.knows_volume_gone(volume):
            yield _gone(sides, volume)
    for volume in sides.volumes.added:
        if not any(gap.kind == "disk" or gap.name == volume.identity for gap in sides.before_gaps):
            yield _draft("volume-added", sides, volume, after=volume_json(sides.now, volume))
    for before, now in sides.volumes.same:
        for name in _alterations(before, now):
            yield _draft(name, sides, before, volume_json(sides.before, before), volume_json(sides.now, now))


def _gone(sides: Sides, volume: Volume) -> Draft:
    """A volume that isn't found: with its partition, or only its file system."""
    left = sides.partition_left(volume)
    before = volume_json(sides.before, volume)
    if left is None:
        return _draft("volume-missing", sides, volume, before=before)
    after = {"volume": left.identifier, "partition": left.number, "type": left.type, "file_system": None}
    return _draft("volume-reformatted", sides, volume, before=before, after=after)


def _alterations(before: Volume, now: Volume) -> Iterator[str]:
    if plain(before.identity) != plain(now.identity):
        yield "partition-reidentified"
    if None not in (before.type, now.type) and before.type != now.type:
        yield "partition-retyped"
    if None not in (before.number, now.number) and before.number != now.number:
        yield "partition-renumbered"
    if before.serial and now.serial and before.serial != now.serial:
        yield "volume-reformatted"


def _draft(name: str, sides: Sides, volume: Volume, before: Any = None, after: Any = None) -> Draft:
    return Draft(
        change=name,
        identity=(volume.identity,),
        what=describe(volume, sides.systems.of_volume(volume.identity)),
        where=volume.identity,
        system=sides.systems.of_volume(volume.identity),
        before=before,
        after=after,
        scope={"volume": volume.identity, "path": None},
    )


def describe(volume: Volume, system: str | None) -> str:
    """The volume as a noun phrase."""
    label = f' "{volume.label}"' if volume.label else ""
    return f"the boot volume{label}" + (f" of {system}" if system and not label else "")


def volume_json(state: State, volume: Volume) -> dict[str, Any]:
    """What people compare of a volume."""
    disk = state.disks.get(volume.disk)
    return {
        "volume": volume.identity,
        "partition": volume.number,
        "type": volume.type,
        "label": volume.label,
        "serial": volume.serial,
        "disk": disk.model if disk and disk.model else volume.disk,
    }
