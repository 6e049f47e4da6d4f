"""What each partition holds, and the identity by which the systems know it."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.formats import file_system
from bootwatch.model.disk import Content, Disk
from bootwatch.model.volume import Volume
from bootwatch.observe.blocks import Drive
from bootwatch.observe.machine import Machine
from bootwatch.observe.volumes import Place, open_place, places_of


def read_contents(
    machine: Machine, disks: list[tuple[Disk, Drive]], volumes: dict[str, Volume]
) -> list[Disk]:
    """The disks with what lies in their partitions, at the cost of one read for each that is no boot volume.

    What can't be read is "unreadable" and no gap: nothing else is known of such a partition anyway.
    """
    known = {(volume.disk, volume.number): volume for volume in volumes.values()}
    contents: dict[tuple[str, int | None], Content] = {}
    for place in places_of(disks):
        where = (place.disk.key, place.partition.number if place.partition else None)
        volume = known.get(where)
        contents[where] = _of_volume(volume) if volume else _read(machine, place)
    return [_with(disk, contents) for disk, _ in disks]


def _of_volume(volume: Volume) -> Content:
    return Content("vfat", volume.serial or "", volume.label)


def _read(machine: Machine, place: Place) -> Content:
    try:
        with open_place(machine, place) as reader:
            found = file_system.identify(reader)
    except OSError:
        return Content("unreadable")
    return Content(found.kind, found.uuid, found.label)


def _with(disk: Disk, contents: dict[tuple[str, int | None], Content]) -> Disk:
    partitions = tuple(
        replace(part, content=contents.get((disk.key, part.number))) for part in disk.partitions
    )
    return replace(disk, partitions=partitions, content=contents.get((disk.key, None)))
