"""Loaders of several systems on one volume, though there is another volume where one of them is alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.finding import comes_and_goes, told
from bootwatch.judge.glance import own_folder
from bootwatch.judge.own_loaders import in_step, own_folders
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.volume_changes import describe
from bootwatch.model.change import Finding
from bootwatch.model.path import fold
from bootwatch.model.volume import File, Volume


def loaders_share_volume(scene: Scene) -> Iterator[Finding]:
    """A volume is a system's own where only that one's loaders lie. One ESP for all systems is ordinary, and
    so is a mirror. An older copy of a system's folder counts as its own too: installers leave such behind."""
    yield from _Shared(scene).findings()


@dataclass(frozen=True)
class _Shared:
    scene: Scene

    def findings(self) -> Iterator[Finding]:
        for volume in self._volumes:
            folders = self._folders[volume.identity]
            guests = {folder: others for folder in folders if (others := list(self._alone(folder, volume)))}
            if len(folders) > 1 and guests and len(guests) >= len(folders) - 1:
                yield self._finding(volume, guests)

    @cached_property
    def _volumes(self) -> list[Volume]:
        return [one for one in self.scene.state.volumes.values() if not comes_and_goes(self.scene, one)]

    @cached_property
    def _folders(self) -> dict[str, dict[str, str]]:
        """On each volume the folders of loaders, folded, with the systems that they belong to."""
        watched = [system for system in self.scene.systems.all() if system.is_watched]
        return {
            volume.identity: {
                fold(folder): system.name
                for system in watched
                for folder in own_folders(system, volume)
                if fold(folder) in self._programs[volume.identity]
            }
            for volume in self._volumes
        }

    @cached_property
    def _programs(self) -> dict[str, dict[str, dict[str, File]]]:
        """On each volume the programs by their folders below \\EFI, folded."""
        found: dict[str, dict[str, dict[str, File]]] = {}
        for volume in self._volumes:
            on = found.setdefault(volume.identity, {})
            for folded, file in volume.by_folded_path.items():
                folder = own_folder(folded) if file.program else None
                if folder:
                    on.setdefault(folder, {})[folded] = file
        return found

    def _alone(self, folder: str, shared: Volume) -> Iterator[Volume]:
        """The other volumes where only this folder is, but for a mirror of the shared one."""
        here = self._programs[shared.identity][folder]
        for volume in self._volumes:
            is_other = plain(volume.identity) != plain(shared.identity)
            is_alone = list(self._folders[volume.identity]) == [folder]
            if is_other and is_alone and not in_step(here, self._programs[volume.identity][folder]):
                yield volume

    def _finding(self, volume: Volume, guests: dict[str, list[Volume]]) -> Finding:
        names = self._folders[volume.identity]
        others = [f"{one} also on {other.identity}" for one in guests for other in guests[one]]
        return told(
            "loaders-share-volume",
            (volume.identity,),
            describe(volume, None),
            "; ".join([f"{volume.identity}: {', '.join(sorted(set(names.values())))}", *others]),
            system=names[next(iter(guests))] if len(guests) == 1 else None,
        )
