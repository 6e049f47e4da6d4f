"""Loaders' folders that no entry leads into, and volumes with nothing but a default file.

After the firmware lost its entries these are all that is left of the systems; on a healthy machine they are
mostly tools, updates for the firmware, or leftovers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.glance import BOOT_FOLDER, Glance
from bootwatch.judge.home import Home
from bootwatch.judge.homes import Homes, Place
from bootwatch.model.disk import ESP, MBR_ESP
from bootwatch.model.path import fold
from bootwatch.model.volume import File

_MOST_COMPARED = 32


def add_lone_folders(homes: Homes) -> None:
    """Add the folders that belong to a system for a reason of their own, or to a system that is known."""
    entered: dict[str, list[Home]] = {}
    for home in homes.by_folder.values():
        entered.setdefault(home.folder, []).append(home)
    places = dict.fromkeys(place for glance in homes.glances for place in glance.folders)
    lone = [_Folder(homes, *place) for place in places if place not in homes.by_folder]
    runnable = [folder for folder in lone if folder.programs]
    on_volume = Counter(folder.volume for folder in runnable)
    has_entries = any(entry.file for glance in homes.glances for entry in glance.entries)
    for folder in runnable:
        original = folder.original(entered.get(folder.folder, []))
        alone = on_volume[folder.volume] == 1 and folder.volume not in homes.on
        if original:
            homes.by_folder[folder.volume, folder.folder] = original
            original.copies.append((folder.volume, folder.spelled))
        elif folder.is_a_systems(alone, has_entries):
            homes.add_folder(folder.volume, folder.folder, folder.spelled)


@dataclass(frozen=True)
class _Folder:
    homes: Homes
    volume: str
    folder: str

    @cached_property
    def files(self) -> dict[str, File]:
        """As they were seen first."""
        found: dict[str, File] = {}
        for glance in self.homes.glances:
            found = {**glance.folders.get((self.volume, self.folder), {}), **found}
        return found

    @cached_property
    def spelled(self) -> str:
        return next(iter(self.files.values())).path[: len(self.folder)]

    @cached_property
    def programs(self) -> dict[str, File]:
        """Those that this machine's firmware runs."""
        glance = self.homes.glances[-1]
        return {folded: file for folded, file in self.files.items() if glance.runs(file)}

    @cached_property
    def hashes(self) -> set[str]:
        return {file.sha256 for file in self.files.values() if file.program and file.sha256}

    @cached_property
    def removable(self) -> bool:
        return self.homes.is_removable(self.volume)

    def original(self, same_name: list[Home]) -> Home | None:
        """The system whose folder this one is a copy of: the same name, and a program in common."""
        for home in same_name[:_MOST_COMPARED]:
            has_same = any(file.sha256 in self.hashes for file in home.files.values())
            if has_same and home.removable == self.removable:
                return home
        return None

    def is_a_systems(self, alone: bool, has_entries: bool) -> bool:
        """Whether it speaks for itself.

        It does if it holds a list from which lost entries are made again; if the running system goes by its
        name; if a default file is a copy of one of its programs, and of no other system's; if it is all that
        there is on a volume, and beside a default file or in an ESP; or, where no entry is left that names a
        file, if it has one program above all others.
        """
        glance = self.homes.glances[-1]
        if self.folder + glance.list_name in self.files or self._is_running:
            return True
        if self._is_default or (alone and glance.default_file in glance.defaults.get(self.volume, {})):
            return True
        return self._has_one_program and (not has_entries or (alone and self._is_esp))

    @property
    def _is_running(self) -> bool:
        return any(fold(f"\\EFI\\{glance.os_id}") == self.folder for glance in self.homes.glances)

    @property
    def _is_default(self) -> bool:
        return any(
            file.sha256 in self.hashes and not self.homes.contents.homes_of(file, self.removable)
            for volume, file in default_files(self.homes)
            if self.homes.is_removable(volume) == self.removable
        )

    @property
    def _is_esp(self) -> bool:
        return any(
            volume.type in (ESP, MBR_ESP)
            for glance in self.homes.glances
            for volume in glance.volumes.get(self.volume, ())
        )

    @property
    def _has_one_program(self) -> bool:
        """Whether of its programs one lies higher than all others."""
        depths = sorted(folded.count("\\") for folded in self.programs)
        return len(depths) == 1 or depths[0] < depths[1]


def default_files(homes: Homes) -> Iterator[tuple[str, File]]:
    """Each default file of each state, with its volume."""
    for glance in homes.glances:
        for volume, files in glance.defaults.items():
            yield from ((volume, file) for file in files.values())


def add_default_files(homes: Homes) -> None:
    """Add the volumes whose only loader is a default file that is no copy of a known system's loader."""
    for volume in dict.fromkeys((*homes.default_claims, *(one for one, _ in default_files(homes)))):
        claims = homes.default_claims.get(volume, [])
        if not homes.on.get(volume):
            _add_default(homes, volume)
        for claim in claims:
            for home in homes.on.get(volume, [])[:1]:
                if home.is_default:
                    home.enter(claim.glance, claim.rank, claim.entry, claim.folded)


def _add_default(homes: Homes, volume: str) -> None:
    files = [(glance, folded, file) for glance in homes.glances for folded, file in _defaults(glance, volume)]
    removable = homes.is_removable(volume)
    if files and homes.contents.homes_of(files[0][2], removable):
        return
    if not any(volume in glance.volumes for glance in homes.glances):
        return  # Firmware keeps such entries for sticks that are gone.
    claimed = any(not claim.entry.is_firmware_made for claim in homes.default_claims.get(volume, ()))
    if not claimed and not any(glance.runs(file) for glance, _, file in files):
        return
    spelled = files[0][2].path.rpartition("\\")[0] if files else BOOT_FOLDER
    home = homes.add(Home(volume, BOOT_FOLDER, spelled=spelled))
    for glance, folded, file in files:
        home.hold(glance, folded, file)
        homes.contents.add(home, file, glance.number)


def _defaults(glance: Glance, volume: str) -> list[tuple[str, File]]:
    """The default files of a volume, that of this machine's firmware first."""
    files = glance.defaults.get(volume, {})
    return sorted(files.items(), key=lambda one: (one[0] != glance.default_file, one[0]))


__all__ = ["Place", "add_default_files", "add_lone_folders", "default_files"]
