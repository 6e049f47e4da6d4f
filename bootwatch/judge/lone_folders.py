"""Loaders' folders that no entry leads into, and volumes with nothing but a default file.

After the firmware lost its entries these are all that is left of the systems; on a healthy machine they are
mostly tools, updates for the firmware, or leftovers.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.glance import BOOT_FOLDER, Glance
from bootwatch.judge.home import Home
from bootwatch.judge.homes import Homes
from bootwatch.judge.parts import Claim
from bootwatch.model.disk import ESP, MBR_ESP
from bootwatch.model.path import fold
from bootwatch.model.volume import File

_MOST_COMPARED = 32


def add_lone_folders(homes: Homes, glance: Glance) -> None:
    """Add the folders that belong to a system for a reason of their own, or to a system that is known."""
    by_name: dict[str, list[Home]] = {}
    for home in homes.by_folder.values():
        by_name.setdefault(home.folder, []).append(home)
    lone = [_Folder(homes, glance, *place) for place in glance.folders if place not in homes.by_folder]
    runnable = [folder for folder in lone if folder.programs]
    on_volume = Counter(folder.volume for folder in runnable)
    has_entries = any(entry.file for one in homes.glances for entry in one.entries)
    for folder in runnable:
        original = folder.original(by_name.get(folder.folder, []))
        alone = on_volume[folder.volume] == 1 and folder.volume not in homes.on
        if original:
            homes.by_folder[folder.volume, folder.folder] = original
            original.copies.append((folder.volume, folder.spelled))
        elif folder.is_marked or (folder.is_new and folder.stands_out(alone, has_entries)):
            homes.add_folder(folder.volume, folder.folder, folder.spelled)


@dataclass(frozen=True)
class _Folder:
    homes: Homes
    glance: Glance
    volume: str
    folder: str

    @cached_property
    def files(self) -> dict[str, File]:
        return self.glance.folders[self.volume, self.folder]

    @cached_property
    def spelled(self) -> str:
        return next(iter(self.files.values())).path[: len(self.folder)]

    @cached_property
    def programs(self) -> dict[str, File]:
        """Those that this machine's firmware runs."""
        return {folded: file for folded, file in self.files.items() if self.glance.runs(file)}

    @cached_property
    def hashes(self) -> set[str]:
        return {file.sha256 for file in self.files.values() if file.program and file.sha256}

    @cached_property
    def removable(self) -> bool:
        return self.homes.is_removable(self.volume)

    @property
    def is_new(self) -> bool:
        """Whether it wasn't there before: what was taken for no system stays none for want of another."""
        return not any((self.volume, self.folder) in one.folders for one in self.homes.glances[:-1])

    def original(self, same_name: list[Home]) -> Home | None:
        """The system whose folder this one is a copy of: the same name, and a program in common."""
        for home in same_name[:_MOST_COMPARED]:
            has_same = any(file.sha256 in self.hashes for _, file in home.files.values())
            if has_same and home.removable == self.removable:
                return home
        return None

    @property
    def is_marked(self) -> bool:
        """Whether something says that it is a system's: it holds a list from which lost entries are made
        again; the running system goes by its name; a default file is a copy of one of its programs, and of no
        other system's."""
        is_running = fold(f"\\EFI\\{self.glance.os_id}") == self.folder
        return self.folder + self.glance.list_name in self.files or is_running or self._is_default

    @property
    def _is_default(self) -> bool:
        return any(
            file.sha256 in self.hashes
            and not self.homes.contents.homes_of(file, self.removable, self.glance.number)
            for volume, files in self.glance.defaults.items()
            if self.homes.is_removable(volume) == self.removable
            for file in files.values()
        )

    def stands_out(self, alone: bool, has_entries: bool) -> bool:
        """Whether nothing else can be meant: it is all that there is on a volume, and beside a default file
        or in an ESP; or no entry is left that names a file. The latter two hold only for a folder that has
        one program above all others."""
        if alone and self.glance.default_file in self.glance.defaults.get(self.volume, {}):
            return True
        return self._has_one_program and (not has_entries or (alone and self._is_in_esp))

    @property
    def _is_in_esp(self) -> bool:
        return any(one.type in (ESP, MBR_ESP) for one in self.glance.volumes[self.volume])

    @property
    def _has_one_program(self) -> bool:
        """Whether of its programs one lies higher than all others."""
        depths = sorted(folded.count("\\") for folded in self.programs)
        return len(depths) == 1 or depths[0] < depths[1]


def add_default_files(homes: Homes, glance: Glance, claims: list[Claim]) -> None:
    """Add the volumes whose only loader is a default file that is no copy of a known system's loader.

    ``claims`` are entries that lead to default files.
    """
    by_volume: dict[str, list[Claim]] = {}
    for claim in claims:
        by_volume.setdefault(claim.volume, []).append(claim)
    for volume in dict.fromkeys((*by_volume, *glance.defaults)):
        own = by_volume.get(volume, [])
        if volume not in homes.on:
            _add_default(homes, glance, volume, own)
        home = next((one for one in homes.on.get(volume, ()) if one.is_default), None)
        if home is None:
            continue
        for folded, file in glance.defaults.get(volume, {}).items():
            home.hold(glance, folded, file)
            homes.contents.add(home, file, glance.number)
        for claim in own:
            home.enter(claim.glance, claim.rank, claim.entry, claim.folded)


def _add_default(homes: Homes, glance: Glance, volume: str, claims: list[Claim]) -> None:
    files = sorted(
        glance.defaults.get(volume, {}).items(), key=lambda one: (one[0] != glance.default_file, one[0])
    )
    if files and homes.contents.homes_of(files[0][1], homes.is_removable(volume), glance.number):
        return
    if volume not in glance.volumes:
        return  # Firmware keeps such entries for sticks that are gone.
    claimed = any(not claim.entry.is_firmware_made for claim in claims)
    if claimed or any(glance.runs(file) for _, file in files):
        spelled = files[0][1].path.rpartition("\\")[0] if files else BOOT_FOLDER
        homes.add(Home(volume, BOOT_FOLDER, spelled=spelled))
