"""One state as far as systems go: its entries, and the files in loaders' folders, by place."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain, islice

from bootwatch.formats.pe import SUBSYSTEM_APPLICATION
from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.entries import Entry, read_order
from bootwatch.judge.listed import list_name
from bootwatch.judge.visiting import is_visiting
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume

_OWN_FOLDER = re.compile(r"(\\EFI\\([^\\]+))\\")
# Folders below \EFI that belong to no system alone.
_SHARED = frozenset({"BOOT", "LINUX", "TOOLS"})
BOOT_FOLDER = "\\EFI\\BOOT"
_DEFAULT_FILE = re.compile(r"\\EFI\\BOOT\\BOOT[A-Z0-9]+\.EFI")
_UNLISTED = 0x10000
_MOST_ENTRIES = 4096
UNPLACED = "path:"
_FILE_NODE = b"\x04\x04"  # UEFI 2.10 §10.3.5.4


def own_folder(folded: str) -> str | None:
    """The folder of a system's own below \\EFI that a folded path lies in, folded; None outside of one."""
    match = _OWN_FOLDER.match(folded)
    return match[1] if match and match[2] not in _SHARED else None


def is_default_file(folded: str) -> bool:
    return bool(_DEFAULT_FILE.fullmatch(folded))


@dataclass
class Glance:
    """``number`` counts the states, the baseline first; ``canonical`` gives a volume's first identity."""

    number: int
    state: State
    entries: tuple[Entry, ...]
    canonical: Callable[[str], str]
    volumes: dict[str, list[Volume]] = field(default_factory=dict)
    folders: dict[tuple[str, str], dict[str, File]] = field(default_factory=dict)
    defaults: dict[str, dict[str, File]] = field(default_factory=dict)

    @classmethod
    def at(
        cls, number: int, state: State, entries: Iterable[Entry], canonical: Callable[[str], str]
    ) -> Glance:
        glance = cls(number, state, tuple(entries), canonical)
        for volume in state.volumes.values():
            glance._add(volume)
        return glance

    def _add(self, volume: Volume) -> None:
        identity = self.canonical(volume.identity)
        self.volumes.setdefault(identity, []).append(volume)
        for folded, file in volume.by_folded_path.items():
            if file.is_folder or not folded.startswith("\\EFI\\"):
                continue
            folder = own_folder(folded)
            if folder:
                self.folders.setdefault((identity, folder), {})[folded] = file
            elif is_default_file(folded):
                self.defaults.setdefault(identity, {})[folded] = file

    def ranked(self) -> Iterator[tuple[int, Entry]]:
        """The entries with their places in the boot order, those outside of it last; not more than a store
        that makes sense can hold."""
        by_number = {entry.number: entry for entry in self.entries}
        listed = dict.fromkeys(number for number in read_order(self.state) if number in by_number)
        ranked = [(place, by_number[number]) for place, number in enumerate(listed)]
        rest = ((_UNLISTED, entry) for entry in self.entries if entry.number not in listed)
        return islice(chain(ranked, rest), _MOST_ENTRIES)

    def volume_of(self, entry: Entry) -> str | None:
        """The volume that an entry's file lies on, None where it can't be told."""
        if entry.volume:
            return self.canonical(entry.volume)
        folded = fold(entry.file or "")
        on_any = entry.device_path.startswith(_FILE_NODE)  # else on a disk without partitions
        holding = {
            identity
            for identity, volumes in self.volumes.items()
            for volume in volumes
            if (on_any or volume.number is None) and folded in volume.by_folded_path
        }
        return holding.pop() if len(holding) == 1 else None

    def place_of(self, entry: Entry) -> str:
        """The volume of an entry's file; where it can't be told, what stands for the entry's path."""
        volume = self.volume_of(entry)
        return volume or UNPLACED + hashlib.sha256(entry.target.encode()).hexdigest()[:16]

    def file(self, volume: str, folded: str) -> File | None:
        """The file at a place, None where it isn't there or a folder."""
        for one in self.volumes.get(volume, ()):
            file = one.by_folded_path.get(folded)
            if file and not file.is_folder:
                return file
        return None

    @cached_property
    def _removable(self) -> dict[str, bool]:
        found: dict[str, bool] = {}
        for disk in self.state.disks.values():
            visits = is_visiting(disk, self.state, self.entries)
            on_disk = [volume.identity for volume in self.state.volumes.values() if volume.disk == disk.key]
            for identity in (*on_disk, *(part.identifier for part in disk.partitions)):
                place = self.canonical(identity)
                found[place] = found.get(place, True) and visits
        return found

    def is_removable(self, volume: str) -> bool | None:
        """Whether a volume lies on a disk that comes and goes; None for one that isn't there."""
        return self._removable.get(volume)

    @cached_property
    def _architecture_runs(self) -> Callable[[int], bool]:
        return architecture_of(self.state).runs

    def runs(self, file: File) -> bool:
        """Whether a file is an EFI application that this machine's firmware runs."""
        program = file.program
        return (
            program is not None
            and program.subsystem == SUBSYSTEM_APPLICATION
            and program.machine is not None
            and self._architecture_runs(program.machine)
        )

    @cached_property
    def default_file(self) -> str:
        """The default file that this machine's firmware looks for."""
        return architecture_of(self.state).default_file

    @property
    def os_release(self) -> dict[str, str]:
        """What the system calls itself that runs where the state was read (os-release(5))."""
        found = self.state.facts.get("system")
        return {str(name): str(value) for name, value in found.items()} if isinstance(found, dict) else {}

    @property
    def os_id(self) -> str:
        return self.os_release.get("id", "")

    @cached_property
    def list_name(self) -> str:
        """The file beside a loader from which lost entries are made again (file, label, data, comment)."""
        return f"\\{list_name(self.state)}"
