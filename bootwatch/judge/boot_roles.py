"""What each boot volume is to the running system: mounted, named by fstab, started from, updated last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.file_systems import FileSystems
from bootwatch.judge.finding import comes_and_goes
from bootwatch.judge.fstab import Fstab
from bootwatch.judge.glance import BOOT_FOLDER
from bootwatch.judge.ground import Ground
from bootwatch.judge.own_loaders import differing, in_step, own_folders, programs_in
from bootwatch.judge.pairs import plain
from bootwatch.judge.proof import started
from bootwatch.judge.scene import Scene
from bootwatch.judge.steps import By
from bootwatch.judge.system import System
from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.model.disk import ESP, MBR_ESP
from bootwatch.model.path import uncounted
from bootwatch.model.volume import File, Volume

_USUAL = ("/boot/efi", "/efi", "/boot")
_MOST = 12


@dataclass(frozen=True)
class Role:
    """``phrase`` is a relative clause without its pronoun, ``short`` a word for a list; ``folder`` where it
    is mounted, "" for other roles."""

    phrase: str
    short: str
    volume: Volume
    folder: str = ""


class Roles:
    """All that are known, on one snapshot. A volume that comes and goes has none."""

    def __init__(self, scene: Scene, home: System) -> None:
        self._scene, self._home = scene, home
        self._folders = own_folders(home)

    @cached_property
    def mounted(self) -> list[Role]:
        """Boot volumes that are mounted now below /boot or /efi."""
        found = []
        for identity, folder in sorted(self._scene.circumstance.mounts.items(), key=_by_folder):
            volume = self._scene.state.volumes.get(identity)
            if volume and is_boot_folder(folder):
                found.append(Role(f"is mounted on {folder}", f"mounted on {folder}", volume, folder))
        return self._lasting(found)

    @cached_property
    def fstab(self) -> list[Role]:
        """Boot volumes that fstab names for a folder below /boot or /efi."""
        fstab = Fstab(self._scene.state, FileSystems(Ground(self._scene.state, self._scene.gaps)))
        return self._lasting(
            Role(f"fstab names for {line.target}", f"fstab for {line.target}", volume, line.target)
            for line in fstab.lines
            if is_boot_folder(line.target)
            for volume in fstab.volumes(line)
        )

    @cached_property
    def entries(self) -> list[Role]:
        """The volumes that the system's own entries name, of those that the firmware tries by itself."""
        own = self._scene.outlook.by_key.get(self._home.key)
        found = []
        for route in own.routes if own else ():
            volume = self._scene.state.volumes.get(route.volume or "")
            if route.by is By.ORDER and route.entry and volume:
                phrase = f"the entry {route.entry} of {self._home.name} names"
                found.append(Role(phrase, f"entry {route.entry}", volume))
        return self._lasting(found)

    @cached_property
    def used(self) -> Role | None:
        """The volume that this start came from, where that was a loader of the system's own: started through
        another system's menu, or from a stick, says nothing."""
        scene = self._scene
        proof = started(scene.circumstance, scene.outlook.startup, scene.state)
        target = proof.target
        if target is None or target.volume is None or proof.doubt:
            return None
        found = [one for one in scene.state.volumes.values() if plain(one.identity) == plain(target.volume)]
        if len(found) != 1 or not self._is_own(found[0], target.file):
            return None
        role = Role(f"{self._home.name} was started from", "used at this start", found[0])
        return next(iter(self._lasting([role])), None)

    def _is_own(self, volume: Volume, file: str | None) -> bool:
        systems = self._scene.systems
        if file is None:
            owner = systems.system_of_volume(volume.identity)
        else:
            owner = systems.system_of_file(volume.identity, file, self._scene.state)
        return owner is not None and owner.key == self._home.key

    @property
    def start(self) -> Role | None:
        """The volume that the system is started from: the one that was really used, else its entry's."""
        return self.used or next(iter(self.entries), None)

    @property
    def updated(self) -> list[Role]:
        """Where an update of the loader goes: an ESP, or a volume with such loaders, in the usual places."""
        found = []
        for folder in _USUAL:
            there = [role for role in self.mounted if role.folder == folder]
            there = there or [role for role in self.fstab if role.folder == folder]
            found += [role for role in there if self._takes_loaders(role.volume)]
        return found

    def _takes_loaders(self, volume: Volume) -> bool:
        return volume.type in (ESP, MBR_ESP) or bool(self._loaders(volume))

    def newer_than(self, start: Role) -> Role | None:
        """A volume with the same loaders whose content changed later, by the count of snapshots."""
        for volume in self._scene.state.volumes.values():
            if self.is_elsewhere(start.volume, volume) and not comes_and_goes(self._scene, volume):
                lines = differing(self._loaders(start.volume), self._loaders(volume))
                own = [path for path in lines if self._is_mine(volume, path)]
                if own and all(self._is_newer(path, volume, start.volume) for path in own):
                    return Role(f"holds the newest loader of {self._home.name}", "newest loader", volume)
        return None

    def _is_newer(self, path: str, volume: Volume, other: Volume) -> bool:
        """Only by content and history: times on FAT volumes prove nothing."""
        changed = self._scene.past.changed_in
        mine = changed.get((plain(volume.identity), uncounted(path)))
        return mine is not None and mine > changed.get((plain(other.identity), uncounted(path)), 0)

    def _is_mine(self, volume: Volume, path: str) -> bool:
        """Whether a loader on a volume is no other system's: two may go by the same folder's name."""
        if any(
            plain(role.volume.identity) == plain(volume.identity) for role in (*self.mounted, *self.fstab)
        ):
            return True
        owner = self._scene.systems.system_of_file(volume.identity, path, self._scene.state)
        return owner is None or owner.key == self._home.key

    # comparing

    def is_same(self, one: Role, other: Role) -> bool:
        return not self.is_elsewhere(one.volume, other.volume)

    def differ(self, one: Role, other: Role) -> bool:
        """Whether two volumes are not one, nor a mirror in step, nor one that could not be read whole."""
        if self.is_same(one, other) or self._is_unread(one.volume) or self._is_unread(other.volume):
            return False
        return not in_step(self._loaders(one.volume), self._loaders(other.volume))

    def all(self, clash: Iterable[Role]) -> list[Role]:
        """Every role, those that clash among them."""
        newest = (role for role in clash if role.short == "newest loader")
        roles = [*self.fstab, *self.mounted, *self.entries, *([self.used] if self.used else ()), *newest]
        return list({role.short: role for role in roles}.values())[:_MOST]

    def is_elsewhere(self, one: Volume, other: Volume) -> bool:
        return plain(one.identity) != plain(other.identity)

    def _loaders(self, volume: Volume) -> dict[str, File]:
        """In the system's own folders, and default files that are its own."""
        shared = programs_in(volume, [BOOT_FOLDER])
        own = {path: file for path, file in shared.items() if self._is_own(volume, path)}
        return own | programs_in(volume, self._folders)

    def _is_unread(self, volume: Volume) -> bool:
        return any(
            gap.kind == "volume" and plain(gap.name) == plain(volume.identity) for gap in self._scene.gaps
        )

    def _lasting(self, roles: Iterable[Role]) -> list[Role]:
        return [role for role in roles if not comes_and_goes(self._scene, role.volume)]


def _by_folder(item: tuple[str, str]) -> str:
    return item[1]
