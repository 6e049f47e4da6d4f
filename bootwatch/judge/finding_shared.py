"""Loaders of several systems on one volume, though each system has a volume of its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bootwatch.judge.finding import comes_and_goes, told
from bootwatch.judge.own_loaders import in_step, own_folders, programs_in
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.system import System
from bootwatch.judge.volume_changes import describe
from bootwatch.model.change import Finding
from bootwatch.model.volume import Volume


def loaders_share_volume(scene: Scene) -> Iterator[Finding]:
    """A volume is a system's own where only that one's loaders lie. One ESP for all systems is ordinary, and
    so is a mirror."""
    yield from _Shared(scene).findings()


@dataclass(frozen=True)
class _Shared:
    scene: Scene

    def findings(self) -> Iterator[Finding]:
        held = {volume.identity: list(self._on(volume)) for volume in self._volumes()}
        for volume in self._volumes():
            systems = held[volume.identity]
            guests = [one for one in systems if self._has_own(one, volume, held)]
            if len(systems) > 1 and guests and len(guests) >= len(systems) - 1:
                yield self._finding(volume, systems, guests, held)

    def _volumes(self) -> Iterator[Volume]:
        return (one for one in self.scene.state.volumes.values() if not comes_and_goes(self.scene, one))

    def _on(self, volume: Volume) -> Iterator[System]:
        """The systems of which a loader lies in a folder of theirs on a volume."""
        for system in self.scene.systems.all():
            if system.is_watched and programs_in(volume, own_folders(system, volume)):
                yield system

    def _has_own(self, system: System, shared: Volume, held: dict[str, list[System]]) -> bool:
        return any(self._own(system, shared, held))

    def _own(self, system: System, shared: Volume, held: dict[str, list[System]]) -> Iterator[Volume]:
        """The volumes besides where it is alone, but for a mirror of what lies on the shared one."""
        folders = own_folders(system)
        for volume in self._volumes():
            is_other = plain(volume.identity) != plain(shared.identity)
            is_alone = [one.key for one in held[volume.identity]] == [system.key]
            is_mirror = in_step(programs_in(shared, folders), programs_in(volume, folders))
            if is_other and is_alone and not is_mirror:
                yield volume

    def _finding(
        self, volume: Volume, systems: list[System], guests: list[System], held: dict[str, list[System]]
    ) -> Finding:
        names = ", ".join(one.name for one in systems)
        others = (
            f"{one.name} also on {other.identity}" for one in guests for other in self._own(one, volume, held)
        )
        return told(
            "loaders-share-volume",
            (volume.identity,),
            describe(volume, None),
            "; ".join([f"{volume.identity}: {names}", *others]),
            system=guests[0].name if len(guests) == 1 else None,
        )
