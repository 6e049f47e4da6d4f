"""Files that a start goes through, emptied or damaged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.finding import MOST, told
from bootwatch.judge.ground import Place
from bootwatch.judge.outlook import SystemOutlook
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.steps import Route
from bootwatch.model.change import Finding
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.model.path import fold, folder_of


@dataclass(frozen=True)
class _Damage:
    """``is_lost``: the file can't be run or read; else the file system holds it badly, though it reads."""

    path: str
    why: str
    is_lost: bool = True


def file_damaged(scene: Scene) -> Iterator[Finding]:
    """One finding for each file that a way to a system goes through, whether or not that way still works."""
    yield from _Files(scene).findings()


@dataclass(frozen=True)
class _Files:
    scene: Scene

    def findings(self) -> Iterator[Finding]:
        told_of = 0
        for place, systems in self._used.items():
            damage = self._damage(place)
            if damage is None or told_of == MOST:
                continue
            told_of += 1
            stranded = next((one for one in systems if damage.is_lost and not self._other_way(one)), None)
            system = (stranded or systems[0]).name
            yield told(
                "file-damaged",
                (plain(place[0]), place[1]),
                f"the file {damage.path}",
                f"{place[0]}, {damage.path}: {damage.why}",
                system=system,
                level=Level.STRANDED if stranded else None,
            )

    @cached_property
    def _used(self) -> dict[Place, list[SystemOutlook]]:
        """Every file that a way goes through, or went, with the systems whose ways do."""
        found: dict[Place, list[SystemOutlook]] = {}
        for one in self.scene.outlook.systems:
            if one.system.is_watched:
                places = (place for route in one.routes for place in _places(route))
                for place in dict.fromkeys((*places, *self._defaults(one))):
                    found.setdefault(place, []).append(one)
        return found

    def _defaults(self, one: SystemOutlook) -> Iterator[Place]:
        """The default files that are a system's: what is no program any more is no way either."""
        state, systems = self.scene.state, self.scene.systems
        path = architecture_of(state).default_file
        for volume in state.volumes.values():
            if plain(volume.identity) in one.system.volumes and volume.file(path):
                owner = systems.system_of_file(volume.identity, path, state)
                if owner and owner.key == one.system.key:
                    yield volume.identity, fold(path)

    def _other_way(self, one: SystemOutlook) -> bool:
        """Whether a way to the system works, or may work, that goes through no lost file."""
        ways = [route for route in one.routes if route.starts is not False]
        return any(not any(self._is_lost(place) for place in _places(route)) for route in ways)

    def _is_lost(self, place: Place) -> bool:
        damage = self._damage(place)
        return damage is not None and damage.is_lost

    def _damage(self, place: Place) -> _Damage | None:
        volume, folded = place
        file = self.scene.state.file(volume, folded)
        path = file.path if file else folded
        if file and not file.is_folder and file.size == 0:
            return _Damage(path, "it is empty")
        gap = next((self._gaps[volume, one] for one in _above(folded) if (volume, one) in self._gaps), None)
        if gap:
            return _Damage(path, gap.detail)
        fault = self._faults.get(place)
        return _Damage(path, fault, is_lost=False) if fault else None

    @cached_property
    def _gaps(self) -> dict[Place, Gap]:
        """Damaged files and folders; a damaged volume is more than a file."""
        gaps = (gap for gap in self.scene.gaps if gap.kind == "volume" and gap.path)
        return {(gap.name, fold(gap.path or "")): gap for gap in gaps if gap.reason is Reason.DAMAGED}

    @cached_property
    def _faults(self) -> dict[Place, str]:
        faults = self.scene.circumstance.faults.items()
        return {(volume, fold(path)): why for volume, found in faults for path, why in found.items()}


def _above(path: str) -> Iterator[str]:
    """A file and the folders that it lies in."""
    while path:
        yield path
        path = folder_of(path)


def _places(route: Route) -> tuple[Place, ...]:
    return ((route.place,) if route.place else ()) + route.uses
