"""Whether a file that a start menu names is there, and whole."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bootwatch.judge.file_systems import FileSystems
from bootwatch.judge.ground import Ground
from bootwatch.judge.menu import By, Role, Target, Where
from bootwatch.judge.runnable import SHORT_NAME
from bootwatch.judge.settings_words import LABEL
from bootwatch.model.path import fold, folder_of
from bootwatch.model.volume import File, Volume


class Fate(StrEnum):
    """What becomes of what is named."""

    SOUND = "sound"
    BROKEN = "broken"
    UNREAD = "unread"  # it lies on a file system that is there, but whose files are not read
    UNKNOWN = "unknown"
    IGNORED = "ignored"  # it is named, but need not be there


@dataclass(frozen=True)
class Named:
    """``why`` goes on after "its start menu"."""

    fate: Fate
    why: str = ""
    volume: Volume | None = None
    file: File | None = None


class NamedFiles:
    """Looks for them on the volumes of one snapshot."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self.file_systems = FileSystems(ground)

    def find(self, target: Target, home: Volume, folder: str) -> Named:
        """``home`` and ``folder`` are where the settings lie that name it."""
        if not target.path.startswith("\\"):
            return self._relative(target, home, folder)
        volumes = self._volumes(target, home)
        found = self._on(target, volumes) if isinstance(volumes, list) else volumes
        if target.is_optional and found.fate is Fate.BROKEN:
            return Named(Fate.IGNORED)
        return found

    def root(self, name: str) -> Named:
        """The file system that a kernel is told to go on with."""
        if self.file_systems.named(name):
            return Named(Fate.SOUND)
        said = name.removeprefix(LABEL)
        return self._nowhere(f"tells the kernel to go on with the file system {said}", name.startswith(LABEL))

    def place(self, name: str) -> Named:
        """A file system that settings name without a file on it."""
        if self.file_systems.named(name):
            return Named(Fate.UNREAD, f"leads to the file system {name}, which is there but is not read")
        return self._nowhere(f"leads to the file system {name}", name.startswith(LABEL))

    def _nowhere(self, what: str, is_label: bool) -> Named:
        if is_label:
            return Named(Fate.UNKNOWN, f"{what}, and no file system of this name is known")
        if self.file_systems.doubt:
            return Named(Fate.UNKNOWN, f"{what}, which is not seen and may lie in {self.file_systems.doubt}")
        return Named(Fate.BROKEN, f"{what}, which is on no disk of this machine")

    def _relative(self, target: Target, home: Volume, folder: str) -> Named:
        path = f"{folder}\\{target.path}"
        return self._on(target, [home], path) if home.file(path) else Named(Fate.IGNORED)

    def _volumes(self, target: Target, home: Volume) -> list[Volume] | Named:
        where = target.where
        if where.by is By.OWN:
            return [home]
        if where.by is By.NAME:
            return self._by_name(target, where)
        everywhere = [home, *(one for one in self._ground.state.volumes.values() if one is not home)]
        wanted = where.names[0] if where.by is By.FILE else target.path
        holders = [volume for volume in everywhere if volume.file(wanted)]
        if len(holders) == 1 or holders[:1] == [home] or (where.by is By.FILE and holders):
            return holders[:1]
        return Named(Fate.UNKNOWN, f"{_names(target)}, and on which file system can't be told")

    def _by_name(self, target: Target, where: Where) -> list[Volume] | Named:
        found = [held for name in where.names for held in self.file_systems.named(name)]
        volumes = [held.volume for held in found if held.volume]
        if volumes:
            return volumes
        name = where.names[0].removeprefix(LABEL)
        if found:
            kind = next((f" ({held.content.kind})" for held in found if held.content), "")
            return Named(
                Fate.UNREAD, f"leads to the file system {name}{kind}, which is there but is not read"
            )
        what = f"{_names(target)} on the file system {name}"
        return self._nowhere(what, where.names[0].startswith(LABEL))

    def _on(self, target: Target, volumes: list[Volume], path: str = "") -> Named:
        path = path or target.path
        for volume in volumes:
            file = volume.file(path)
            if file:
                fate, why = self.look(target.role, volume, file)
                return Named(fate, f"{_names(target, file.path)}, {why}" if why else "", volume, file)
        if any(self._ground.is_hidden(volume, path) for volume in volumes):
            return Named(Fate.UNKNOWN, f"{_names(target)}, which could not be looked for", volumes[0])
        if SHORT_NAME.search(path):
            return Named(Fate.UNKNOWN, f"{_names(target)} by a short name, which is not recorded", volumes[0])
        return Named(Fate.BROKEN, f"{_names(target)}, which is not there", volumes[0])

    def look(self, role: Role, volume: Volume, file: File) -> tuple[Fate, str]:
        """Whether a file that is there is whole, else why not, as a relative clause."""
        program = file.program
        if file.is_folder:
            return Fate.BROKEN, "which is a folder"
        if file.sha256 is None or (program is None and self._ground.is_hidden(volume, file.path)):
            return Fate.UNKNOWN, "which could not be read"
        if file.size == 0:
            return Fate.BROKEN, "which is empty"
        if program is None:
            return (Fate.BROKEN, "which is no program") if role is Role.PROGRAM else (Fate.SOUND, "")
        if program.machine is None:
            return Fate.BROKEN, "which is damaged"
        if program.declared_size is not None and file.size < program.declared_size:
            return Fate.BROKEN, f"which is cut short: {file.size} of {program.declared_size} bytes"
        return Fate.SOUND, ""


def _names(target: Target, path: str = "") -> str:
    return f"names the {target.role.value} {path or target.path}"


def is_unified(file: File) -> bool:
    """Whether it is a unified kernel image. Where its sections were not recorded, its place says so."""
    if file.program is None:
        return False
    if file.program.sections is None:
        return fold(folder_of(file.path)) == "\\EFI\\LINUX"
    return ".linux" in file.program.sections
