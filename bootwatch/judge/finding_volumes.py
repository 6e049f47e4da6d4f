"""What is wrong with a boot volume, or with two of them together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from bootwatch.judge.finding import amount, comes_and_goes, is_removable, told
from bootwatch.judge.ground import Place
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.volume_changes import describe
from bootwatch.model.change import Finding
from bootwatch.model.disk import BOOT_TYPES, Disk
from bootwatch.model.level import Level
from bootwatch.model.path import fold
from bootwatch.model.volume import Volume

# A volume should have so much free, however small its files are: the least of both.
_LEAST_FREE = 4 << 20
_LEAST_PART = 50


def of_volumes(scene: Scene) -> Iterator[Finding]:
    """All findings about single volumes and their identifiers."""
    yield from _not_esp(scene)
    yield from _same_identifiers(scene)
    yield from _nearly_full(scene)


def _what(scene: Scene, volume: Volume) -> tuple[str, str | None]:
    system = scene.systems.of_volume(volume.identity)
    return describe(volume, system), system


def _not_esp(scene: Scene) -> Iterator[Finding]:
    """Firmware doesn't look at the type; installers and automatic mounts do. Sticks are made as they are."""
    for volume in scene.state.volumes.values():
        is_marked = volume.type is None or volume.type in BOOT_TYPES
        if is_marked or not volume.file("\\EFI") or is_removable(scene, volume):
            continue
        what, system = _what(scene, volume)
        level = Level.CHANGED if comes_and_goes(scene, volume) else None
        where = f"{volume.identity}, type {volume.type}"
        yield told("volume-not-esp", (volume.identity,), what, where, system=system, level=level)


def _same_identifiers(scene: Scene) -> Iterator[Finding]:
    """Two sticks made of one image harm nothing; a copy of an installed disk does."""
    disks, parts, bare = Counter[str](), Counter[str](), Counter[str]()
    fixed = set()
    for disk in scene.state.disks.values():
        own = _identifiers(disk)
        disks.update(own[:1])
        parts.update(own[1:])
        fixed |= set() if disk.removable else set(own)
    for volume in scene.state.volumes.values():
        if volume.number is None:
            bare[plain(volume.identity)] += 1
            fixed |= set() if is_removable(scene, volume) else {plain(volume.identity)}
    for noun, count in (("the disk", disks), ("the partition", parts), ("the volume", bare)):
        for identifier, number in sorted(count.items()):
            if number > 1 and identifier:
                level = None if identifier in fixed else Level.CHANGED
                what, where = f"{noun} {identifier}", f"{number} times {identifier}"
                yield told("same-identifiers", (identifier,), what, where, level=level)


def _identifiers(disk: Disk) -> list[str]:
    """The disk's own, "" where it has none, then its partitions'."""
    own = "" if disk.key.startswith("at:") else plain(disk.key)
    return [own, *(part.identifier for part in disk.partitions)]


def _nearly_full(scene: Scene) -> Iterator[Finding]:
    """An update writes the new file beside the old one, and only then takes that away."""
    needed = {place for one in scene.outlook.systems for route in one.routes for place in route.uses}
    for volume in scene.state.volumes.values():
        free = scene.circumstance.free_bytes.get(volume.identity)
        if free is None or comes_and_goes(scene, volume):
            continue
        need = max(_largest(volume, needed), min(_LEAST_FREE, volume.size // _LEAST_PART))
        if free < need:
            what, system = _what(scene, volume)
            where = f"{volume.identity}, {amount(free)} free, {amount(need)} needed"
            yield told("volume-nearly-full", (volume.identity,), what, where, system=system)


def _largest(volume: Volume, needed: set[Place]) -> int:
    """The size of the largest file that updates replace: a program, or what a start goes through."""
    sizes = (
        file.size
        for file in volume.files.values()
        if file.program or (volume.identity, fold(file.path)) in needed
    )
    return max(sizes, default=0)
