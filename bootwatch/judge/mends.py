"""What could be done beforehand against a single loss, as functions from state to state; nothing is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property, partial

from bootwatch.formats.load_option import CATEGORY_BOOT
from bootwatch.judge import altered
from bootwatch.judge.entries import Entry, entries_by_name, read_order
from bootwatch.judge.ground import Ground
from bootwatch.judge.made_option import option_for
from bootwatch.judge.nouns import Nouns
from bootwatch.judge.outlook import Outlook, SystemOutlook
from bootwatch.judge.stage import Owners
from bootwatch.judge.steps import Route
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume

Alteration = Callable[[State], State]
_MOST_VOLUMES = 3


class Sort(StrEnum):
    """What sort of mend, the least effort first. The word is the same in JSON."""

    ENTRY_IN_ORDER = "entry-in-order"
    ENTRY = "entry"
    DEFAULT_FILE = "default-file"
    DEFAULT_FILE_WITH_ENTRY = "default-file-with-entry"
    SECOND_ENTRY = "second-entry"  # firmware has been seen to remove what it takes for a duplicate
    COPY = "copy-on-other-volume"

    @property
    def effort(self) -> int:
        return list(Sort).index(self)


@dataclass(frozen=True)
class Mend:
    """``what`` is an instruction without its full stop; it may carry hostile characters."""

    sort: Sort
    what: str
    apply: Alteration = field(repr=False)
    owners: Owners = field(default_factory=dict, repr=False)

    def and_also(self, other: Mend) -> Mend:
        """Both, one after the other."""

        def apply(state: State) -> State:
            return other.apply(self.apply(state))

        return Mend(self.sort, f"{self.what}; {other.what}", apply, {**self.owners, **other.owners})


def mends_for(state: State, gaps: tuple[Gap, ...], now: Outlook, one: SystemOutlook) -> tuple[Mend, ...]:
    """What may help one system, the simplest first. Whether it does, the rehearsal shows. ``now`` is the
    outlook on ``state``."""
    return tuple(_Mender(state, gaps, now, one).mends())


@dataclass(frozen=True)
class _Mender:
    state: State
    gaps: tuple[Gap, ...]
    now: Outlook
    one: SystemOutlook

    def mends(self) -> Iterator[Mend]:
        yield from self._listings()
        defaults = list(self._default_files())
        yield from (mend for mend, _ in defaults)
        yield from self._more_entries()
        for mend, volume in defaults:
            entry = self._entry(volume, self._ground.architecture.default_file, "an entry for it")
            if entry:
                yield Mend(
                    Sort.DEFAULT_FILE_WITH_ENTRY,
                    f"{mend.what}, and make {entry.what}",
                    mend.and_also(entry).apply,
                    mend.owners,
                )
        yield from self._copies()

    @cached_property
    def _ground(self) -> Ground:
        return Ground(self.state, self.gaps)

    @cached_property
    def _entries(self) -> dict[str, Entry]:
        return entries_by_name(self.state)

    @cached_property
    def _order(self) -> list[int]:
        return read_order(self.state)

    @cached_property
    def _routes(self) -> tuple[Route, ...]:
        """Its own that work, those first that need no person and those through entries."""
        own = (route for route in self.one.working() if not route.through and route.volume and route.file)
        return tuple(sorted(own, key=lambda route: (not route.unattended, route.entry is None)))

    @cached_property
    def _loaders(self) -> dict[str, File]:
        """One loader for each volume that it starts from, a default file only where there is no other."""
        found: dict[str, File] = {}
        default = fold(self._ground.architecture.default_file)
        for route in sorted(self._routes, key=lambda route: fold(route.file or "") == default):
            volume = self.state.volumes.get(route.volume or "")
            file = volume.file(route.file or "") if volume else None
            if volume and file:
                found.setdefault(volume.identity, file)
        return found

    @cached_property
    def _nouns(self) -> Nouns:
        return Nouns(self.state, self.now)

    # entries

    def _listings(self) -> Iterator[Mend]:
        """Entries of its own that the firmware doesn't try."""
        for route in self._routes:
            entry = self._entries.get(route.entry or "")
            if entry and not route.unattended and entry.category == CATEGORY_BOOT:
                deeds = [] if entry.active else ["switch on"]
                deeds += [] if entry.number in self._order else ["put into the boot order"]
                what = f"{' and '.join(deeds)} {self._nouns.entry(entry)}"
                yield Mend(Sort.ENTRY_IN_ORDER, what, partial(altered.switched_on, number=entry.number))

    def _more_entries(self) -> Iterator[Mend]:
        """One more entry for what it starts from already."""
        default = fold(self._ground.architecture.default_file)
        for (identity, folded), route in {
            (route.volume, fold(route.file or "")): route for route in self._routes
        }.items():
            volume = self.state.volumes.get(identity or "")
            if volume is None or route.file is None:
                continue
            is_second = (identity, folded) in self._entered
            file = f"the default file {route.file}" if folded == default else route.file
            article = "a second entry" if is_second else "an entry"
            mend = self._entry(volume, route.file, f"{article} for {file} on {self._nouns.volume(volume)}")
            if mend:
                sort = Sort.SECOND_ENTRY if is_second else Sort.ENTRY
                yield Mend(sort, f"make {mend.what}", mend.apply)

    @cached_property
    def _entered(self) -> set[tuple[str | None, str]]:
        """Where entries of its own lead, those apart that firmware makes and takes away again."""
        return {
            (route.volume, fold(route.file or ""))
            for route in self._routes
            if route.entry in self._entries and not self._entries[route.entry].is_firmware_made
        }

    def _entry(self, volume: Volume, path: str, what: str) -> Mend | None:
        """``what`` is a noun phrase here. Right behind its own first one, else at the end."""
        option = option_for(self.state, volume, path, self.one.name)
        if option is None:
            return None
        entries = [self._entries.get(route.entry or "") for route in self._routes]
        numbers = {entry.number for entry in entries if entry}
        first = next((number for number in self._order if number in numbers), None)
        place = "at the end of the boot order"
        if first is not None:
            label = next(self._nouns.entry(entry) for entry in entries if entry and entry.number == first)
            place = f"right behind {label} in the boot order"
        apply = partial(altered.with_entry, option=option, behind=first)
        return Mend(Sort.ENTRY, f"{what}, {place}", apply)

    # files

    def _default_files(self) -> Iterator[tuple[Mend, Volume]]:
        """A default file of its own on each volume of its own that has none that starts."""
        default = self._ground.architecture.default_file
        for identity, loader in self._loaders.items():
            volume = self.state.volumes[identity]
            there = volume.file(default)
            if there and there.is_folder:  # a folder of that name is in the way
                continue
            if self._ground.default_on(volume).starts is False and fold(loader.path) != fold(default):
                what = f"put a copy of {loader.path} at {default} on {self._nouns.volume(volume)}"
                apply = partial(altered.with_copy, volume=identity, file=loader, path=default)
                owners = {(identity, fold(default)): self.one.system}
                yield Mend(Sort.DEFAULT_FILE, what, apply, owners), volume

    def _copies(self) -> Iterator[Mend]:
        """Its loader, with what it needs there, on volumes of others, those on other disks first."""
        for identity, loader in list(self._loaders.items())[:1]:
            home = self.state.volumes[identity]
            others = [
                volume
                for volume in self.state.volumes.values()
                if volume.identity not in self._loaders
                and not volume.file(loader.path)
                and self._is_fixed(volume)
            ]
            others.sort(key=lambda volume: (volume.disk == home.disk, volume.disk, volume.start))
            for volume in others[:_MOST_VOLUMES]:
                mend = self._copy(home, loader, volume)
                if mend:
                    yield mend

    def _is_fixed(self, volume: Volume) -> bool:
        disk = self.state.disks.get(volume.disk)
        return disk is not None and not disk.removable

    def _copy(self, home: Volume, loader: File, volume: Volume) -> Mend | None:
        needed = self._needed(home, loader)
        entry = self._entry(volume, loader.path, "an entry for it")
        if entry is None:
            return None

        def apply(state: State) -> State:
            for file in (loader, *needed):
                state = altered.with_copy(state, volume.identity, file, file.path)
            return entry.apply(state)

        files = (
            loader.path if not needed else f"{loader.path}, and of what it needs ({_counted(len(needed))}),"
        )
        what = f"put a copy of {files} on {self._nouns.volume(volume)}, and make {entry.what}"
        owners = {(volume.identity, fold(loader.path)): self.one.system}
        return Mend(Sort.COPY, what, apply, owners)

    def _needed(self, home: Volume, loader: File) -> list[File]:
        uses = dict.fromkeys(
            place
            for route in self._routes
            if fold(route.file or "") == fold(loader.path) and route.volume == home.identity
            for place in route.uses
        )
        found = (home.file(path) for volume, path in uses if volume == home.identity)
        return [file for file in found if file]


def _counted(files: int) -> str:
    return "1 file" if files == 1 else f"{files} files"
