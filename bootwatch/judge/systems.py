"""The systems of a machine, learnt from its entries, loaders' folders and programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from bootwatch.judge.entries import Entry, read_entries
from bootwatch.judge.glance import BOOT_FOLDER, UNPLACED, Glance, own_folder
from bootwatch.judge.home import Home
from bootwatch.judge.homes import Homes
from bootwatch.judge.kinship import groups
from bootwatch.judge.lone_folders import add_default_files, add_lone_folders
from bootwatch.judge.naming import Naming
from bootwatch.judge.pairs import pair_volumes, plain
from bootwatch.judge.running import running_group
from bootwatch.judge.system import System
from bootwatch.judge.system_names import SystemNames
from bootwatch.model.path import fold, is_within
from bootwatch.model.snapshot import Circumstance, State
from bootwatch.model.volume import File, Volume

__all__ = ["Naming", "System", "Systems"]


@dataclass(frozen=True)
class Systems:
    """Every system, and whose an entry, a file, a volume is.

    Whose a default file is can change: a system's update may put its own loader there. Without a state the
    answer is whose it was when it was first seen (in the baseline); with one, whose it is there.
    """

    _homes: Homes
    _of_home: dict[Home, System]
    _running: System | None
    _sole: dict[str, System | None] = field(default_factory=dict)
    _aliases: dict[str, str] = field(default_factory=dict)
    _mounted: frozenset[str] = frozenset()

    @classmethod
    def learn(
        cls,
        states: Iterable[State],
        naming: Naming | None = None,
        running: Circumstance | None = None,
        entries: Sequence[Iterable[Entry]] | None = None,
    ) -> Systems:
        """From these states, the baseline first, the present one last. ``running`` is the present one's
        circumstance; ``entries`` are the states' entries, where they have been read already."""
        known = list({id(state): state for state in states}.values())
        read = list(entries or ())[: len(known)] or [read_entries(state).values() for state in known]
        return _Learner(known, read, naming or Naming()).learn(running)

    def all(self) -> tuple[System, ...]:
        """All of them, sticks last, by name."""
        found = dict.fromkeys(self._of_home.values())
        return tuple(sorted(found, key=lambda one: (one.removable, fold(one.name), one.key)))

    def running(self) -> System | None:
        """The one that runs now; None where it can't be told."""
        return self._running

    # by name

    def of_entry(self, entry: Entry, state: State | None = None) -> str | None:
        system = self.system_of_entry(entry, state)
        return system.name if system else None

    def of_file(self, volume: str, path: str, state: State | None = None) -> str | None:
        system = self.system_of_file(volume, path, state)
        return system.name if system else None

    def of_volume(self, volume: str) -> str | None:
        system = self.system_of_volume(volume)
        return system.name if system else None

    # the systems themselves

    def system_of_entry(self, entry: Entry, state: State | None = None) -> System | None:
        """None for an entry that belongs to the firmware, to a tool, or to nobody who is known."""
        if entry.file is None:
            return None
        folded, claims = fold(entry.file), self._homes.claims
        places = self._places_of(entry, state)
        place = next((one for one in places if (one, folded, entry.data) in claims), next(iter(places), ""))
        home = claims.get((place, folded, entry.data))
        if home and (home.part or state is None):
            return self._of_home[home]
        return self.system_of_file(place, entry.file, state)

    def system_of_file(self, volume: str, path: str, state: State | None = None) -> System | None:
        """Whose a file is; None where it can't be told."""
        place = self._canonical(volume), fold(path)
        if is_within(place[1], BOOT_FOLDER):
            return self._of_shared(*place, state)
        if place in self._homes.places:
            own = self._homes.places[place]
            return self._in_state(own, *place, state) if own else None
        folder = own_folder(place[1])
        if folder is None:
            return self.system_of_volume(place[0])
        home = self._homes.by_folder.get((place[0], folder))
        return self._in_state(home, *place, state) if home else None

    def system_of_volume(self, volume: str) -> System | None:
        """The one system whose loaders lie on a volume, or that mounts it; None where there are more.

        One that came there later takes nothing from one that was alone there in the baseline.
        """
        identity = self._canonical(volume)
        if identity in self._sole:
            return self._sole[identity]
        return self._running if identity in self._mounted else None

    # whose

    def _canonical(self, identity: str) -> str:
        name = plain(identity)
        return self._aliases.get(name, name)

    def _places_of(self, entry: Entry, state: State | None) -> list[str]:
        """On which volumes an entry's file lies; first the one in ``state``."""
        if entry.volume:
            return [self._canonical(entry.volume)]
        found = [(glance.state is not state, glance.place_of(entry)) for glance in self._homes.glances]
        return [place for _, place in sorted(found, key=lambda one: (one[0], one[1].startswith(UNPLACED)))]

    def _of_shared(self, volume: str, folded: str, state: State | None) -> System | None:
        """Whose a file in the shared folder \\EFI\\BOOT is: by its content, else by its volume."""
        file = self._file(volume, folded, state)
        if file and file.program:
            asked = file, self._homes.is_removable(volume), self._first_seen(volume, folded, file)
            contents = self._homes.contents
            for homes in (contents.homes_of(*asked), contents.homes_named_like(*asked)):
                near = [home for home in homes if home.volume == volume]
                owner = self._only(near or homes)
                if owner:
                    return owner
        return self.system_of_volume(volume)

    def _only(self, homes: list[Home]) -> System | None:
        return _only(self._of_home, homes)

    def _in_state(self, home: Home, volume: str, folded: str, state: State | None) -> System:
        """The system of a home; or, where in ``state`` another system's program lies in this one's place,
        that one."""
        own = self._of_home[home]
        file = self._file(volume, folded, state) if state else None
        if file is None or not file.program:
            return own
        last = self._first_seen(volume, folded, file)
        return self._only(self._homes.contents.homes_of(file, home.removable, last)) or own

    def _first_seen(self, volume: str, folded: str, file: File) -> int:
        """The first state with the same file at that place. Whose it is was told then, by what was known."""
        for glance in self._homes.glances:
            known = glance.file(volume, folded)
            if known and known.sha256 == file.sha256:
                return glance.number
        return len(self._homes.glances)

    def _file(self, volume: str, folded: str, state: State | None) -> File | None:
        if state is None:
            found = (glance.file(volume, folded) for glance in self._homes.glances)
            return next((file for file in found if file), None)
        for one in state.volumes.values():
            if self._canonical(one.identity) == volume:
                file = one.by_folded_path.get(folded)
                if file and not file.is_folder:
                    return file
        return None


class _Learner:
    def __init__(self, states: list[State], entries: list[Iterable[Entry]], naming: Naming) -> None:
        self.naming = naming
        self.aliases: dict[str, str] = {}
        for state in states[1:]:
            self._add_aliases(states[0], state, entries[0])
        self.glances = [
            Glance.at(number, state, read, self.canonical)
            for number, (state, read) in enumerate(zip(states, entries, strict=True))
        ]

    def _add_aliases(self, first: State, state: State, entries: Iterable[Entry]) -> None:
        """Note which volumes got another identity: the old one is gone, the new one was unheard of."""
        known = _identities(first) | {entry.target for entry in entries}
        there = _identities(state)
        for before, now in pair_volumes(first, state).same:
            old, new = plain(before.identity), plain(now.identity)
            if old not in there and new not in known:
                self.aliases.setdefault(new, old)

    def canonical(self, identity: str) -> str:
        name = plain(identity)
        return self.aliases.get(name, name)

    def learn(self, now: Circumstance | None) -> Systems:
        homes = Homes()
        for glance in self.glances:
            loose = homes.look(glance)
            add_lone_folders(homes, glance)
            add_default_files(homes, glance, homes.enter_loose(loose))
        found = groups(homes, self._joined(homes))
        running = running_group(self.glances, found, now)
        names = SystemNames(self.glances, self.naming, running)
        of_home: dict[Home, System] = {}
        for group in found:
            of_home |= dict.fromkeys(group, names.system(group, self._identities))
        return Systems(
            homes,
            of_home,
            of_home[running[0]] if running else None,
            {volume: _sole(of_home, there) for volume, there in homes.on.items()},
            self.aliases,
            self._mounted(),
        )

    @property
    def _identities(self) -> dict[str, list[str]]:
        """All identities of each volume that has more than one."""
        found: dict[str, list[str]] = {}
        for alias, first in self.aliases.items():
            found.setdefault(first, [first]).append(alias)
        return found

    def _joined(self, homes: Homes) -> list[list[Home]]:
        """Homes that the settings give the same name."""
        if not self.naming.names:
            return []
        joined: dict[str, list[Home]] = {}
        names = SystemNames(self.glances, self.naming, None)
        for home in sorted(homes.all(), key=lambda one: one.order):
            name = names.given(home)
            if name:
                joined.setdefault(name, []).append(home)
        return list(joined.values())

    def _mounted(self) -> frozenset[str]:
        """The volumes that the running system mounts at each start."""
        glance = self.glances[-1] if self.glances else None
        if glance is None:
            return frozenset()
        recorded = glance.state.facts.get("fstab")
        lines = recorded if isinstance(recorded, list | tuple) else ()
        sources = {str(line.get("source", "")).upper() for line in lines if isinstance(line, dict)}
        return frozenset(
            identity
            for identity, volumes in glance.volumes.items()
            if any(not sources.isdisjoint(_fstab_names(volume)) for volume in volumes)
        )


def _only(of_home: dict[Home, System], homes: list[Home]) -> System | None:
    """The one system of these homes; None where there is none or more than one."""
    first = of_home[homes[0]] if homes else None
    return first if all(of_home[home] is first for home in homes) else None


def _sole(of_home: dict[Home, System], homes: list[Home]) -> System | None:
    """The one system of those that were first on a volume."""
    first = min(home.born for home in homes)
    return _only(of_home, [home for home in homes if home.born == first])


def _identities(state: State) -> set[str]:
    """All that a state's partitions and volumes go by."""
    parts = (part.identifier for disk in state.disks.values() for part in disk.partitions)
    return {*parts, *map(plain, state.volumes)}


def _fstab_names(volume: Volume) -> tuple[str, str]:
    """How fstab(5) names a volume, in upper case."""
    partition = plain(volume.identity).partition(":")[2]
    return f"PARTUUID={partition}".upper(), f"UUID={volume.serial}".upper()
