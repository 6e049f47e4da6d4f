"""Each single thing that can be lost of what a machine starts from, as a function from state to state."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property, partial

from bootwatch.judge import altered
from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.entries import Entry, entries_by_name, read_order
from bootwatch.judge.ground import Place
from bootwatch.judge.needed import needed_places, working_routes
from bootwatch.judge.nouns import Nouns
from bootwatch.judge.outlook import Outlook, SystemOutlook
from bootwatch.judge.stage import Owners
from bootwatch.judge.steps import Route
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume

_MOST_OF_A_KIND = 60
_KINDS = 7


class Kind(StrEnum):
    """What sort of loss. The word is the same in JSON."""

    ENTRY = "entry"
    FILE = "file"
    FOLDER = "folder"
    VOLUME = "volume"
    DISK = "disk"
    ORDER = "boot-order"
    ALL_ENTRIES = "all-entries"
    ORDER_FIRST = "order-first"
    DEFAULT_FILE = "default-file"


@dataclass(frozen=True)
class Loss:
    """``what`` is a noun phrase and ``where`` holds the identifiers; both may carry hostile characters.

    ``apply`` gives the state as it would be. ``owners`` says whose a file is afterwards that was another's.
    """

    kind: Kind
    what: str
    where: str
    apply: Callable[[State], State] = field(compare=False, repr=False)
    owners: Owners = field(default_factory=dict, compare=False)


@dataclass(frozen=True)
class Losses:
    """All that are worth a rehearsal, and sentences about those that were left out."""

    all: tuple[Loss, ...]
    limits: tuple[str, ...] = ()


def losses_of(state: State, now: Outlook, most: int = _MOST_OF_A_KIND * _KINDS) -> Losses:
    """Every single loss that could matter: what no working route goes through is left out.

    ``now`` is the outlook on ``state`` as it is. At most about ``most`` in all, shared out among the kinds.
    """
    return _Finder(state, now, max(min(_MOST_OF_A_KIND, most // _KINDS), 2)).losses()


@dataclass(frozen=True)
class _Finder:
    state: State
    now: Outlook
    most: int

    def losses(self) -> Losses:
        kept: list[Loss] = []
        limits: list[str] = []
        for noun, found in self._groups():
            kept += found[: self.most]
            if len(found) > self.most:
                limits.append(f"Of {len(found)} {noun}, only the first {self.most} were rehearsed.")
        return Losses(tuple(kept), tuple(limits))

    def _groups(self) -> Iterator[tuple[str, list[Loss]]]:
        yield "entries that start something", list(self._entries())
        yield "files that a start goes through", list(self._files())
        yield "folders that a start goes through", list(self._folders())
        yield "boot volumes", list(self._volumes())
        yield "disks", list(self._disks())
        yield "settings", list(self._settings())
        yield "things that updates may do", [*self._firsts(), *self._takeovers()]

    @cached_property
    def _working(self) -> tuple[Route, ...]:
        return working_routes(self.now)

    @cached_property
    def _places(self) -> tuple[Place, ...]:
        return needed_places(self._working)

    @cached_property
    def _read(self) -> dict[str, Entry]:
        return entries_by_name(self.state)

    # variables

    def _entries(self) -> Iterator[Loss]:
        names = dict.fromkeys(route.entry for route in self._working)
        names[self.now.next_start.entry] = None
        for name in names:
            entry = self._read.get(name or "")
            if entry:
                apply = partial(altered.without_entry, number=entry.number)
                where = ", ".join(
                    part for part in (entry.name, entry.volume, entry.file or entry.path) if part
                )
                yield Loss(Kind.ENTRY, self._nouns.entry(entry), where, apply)

    def _settings(self) -> Iterator[Loss]:
        if read_order(self.state):
            yield Loss(Kind.ORDER, "the boot order", "BootOrder", altered.without_order)
        if self._read:
            what = "all entries and their order, as by a firmware reset"
            yield Loss(Kind.ALL_ENTRIES, what, "Boot####, BootOrder", altered.without_entries)

    # files, folders, volumes, disks

    def _files(self) -> Iterator[Loss]:
        for identity, folded in self._places:
            volume, file = self._file(identity, folded)
            if volume and file:
                apply = partial(altered.without_file, volume=identity, path=file.path)
                yield Loss(Kind.FILE, self._on(f"the file {file.path}", volume), identity, apply)

    def _folders(self) -> Iterator[Loss]:
        for identity, folded in dict.fromkeys(self._folder_places()):
            volume, folder = self._file(identity, folded)
            if volume:
                spelled = folder.path if folder else folded
                apply = partial(altered.without_folder, volume=identity, path=spelled)
                yield Loss(Kind.FOLDER, self._on(f"the folder {spelled}", volume), identity, apply)

    def _folder_places(self) -> Iterator[Place]:
        for volume, folded in self._places:
            folder = folder_of(folded)
            while folder:
                yield volume, folder
                folder = folder_of(folder)

    def _volumes(self) -> Iterator[Loss]:
        for identity in dict.fromkeys(volume for volume, _ in self._places):
            volume = self.state.volumes.get(identity)
            if volume:
                apply = partial(altered.without_volume, volume=identity)
                yield Loss(Kind.VOLUME, self._nouns.volume(volume), identity, apply)

    def _disks(self) -> Iterator[Loss]:
        held = (self.state.volumes.get(volume) for volume, _ in self._places)
        for key_of_disk in dict.fromkeys(volume.disk for volume in held if volume):
            disk = self.state.disks.get(key_of_disk)
            if disk:
                apply = partial(altered.without_disk, disk=key_of_disk)
                yield Loss(Kind.DISK, self._nouns.disk(disk), key_of_disk, apply)

    def _file(self, identity: str, folded: str) -> tuple[Volume | None, File | None]:
        volume = self.state.volumes.get(identity)
        return volume, volume.file(folded) if volume else None

    def _on(self, what: str, volume: Volume) -> str:
        return f"{what} on {self._nouns.volume(volume)}"

    @cached_property
    def _nouns(self) -> Nouns:
        return Nouns(self.state, self.now)

    # what updates do

    def _firsts(self) -> Iterator[Loss]:
        """An installed system's own entry in front of all others."""
        for one in _installed(self.now):
            entry = self._own_entry(one)
            if entry and read_order(self.state)[:1] != [entry.number]:
                what = f"an update of {one.name} that puts {one.name} first in the boot order"
                apply = partial(_put_first, number=entry.number)
                yield Loss(Kind.ORDER_FIRST, what, f"{entry.name}, BootOrder", apply)

    def _own_entry(self, one: SystemOutlook) -> Entry | None:
        """The first of a system's own that works, those first that need no person."""
        routes = (*one.working(unattended=True), *one.working())
        entries = (self._read.get(route.entry or "") for route in routes if not route.through)
        return next((entry for entry in entries if entry and not entry.is_firmware_made), None)

    def _takeovers(self) -> Iterator[Loss]:
        """The default file of each volume that an installed system starts from, replaced by its loader."""
        default = architecture_of(self.state).default_file
        seen: set[tuple[str, str]] = set()
        for one in _installed(self.now):
            for route in one.working():
                mark = (one.system.key, route.volume or "")
                volume, file = self._file(mark[1], fold(route.file or ""))
                if (
                    not volume
                    or not file
                    or fold(file.path) == fold(default)
                    or mark in seen
                    or route.through
                ):
                    continue
                seen.add(mark)
                if not _is_same(volume.file(default), file):
                    yield self._takeover(one, volume, file, default)

    def _takeover(self, one: SystemOutlook, volume: Volume, file: File, default: str) -> Loss:
        place = self._on(f"the default file {default}", volume)
        what = f"an update of {one.name} that makes {place} its own"
        apply = partial(altered.with_copy, volume=volume.identity, file=file, path=default)
        owners = {(volume.identity, fold(default)): one.system}
        return Loss(Kind.DEFAULT_FILE, what, volume.identity, apply, owners)


def _put_first(state: State, number: int) -> State:
    return altered.with_first(altered.switched_on(state, number), number)


def _installed(now: Outlook) -> Iterable[SystemOutlook]:
    return (one for one in now.systems if one.system.is_watched)


def _is_same(one: File | None, other: File) -> bool:
    return one is not None and one.sha256 is not None and one.sha256 == other.sha256
