"""Entries for systems that no route leads to, worked out from what lies on the machine's own volumes. Pure.

For a computer of which nothing was saved: what was lost isn't known, only what is there and can't be started.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from bootwatch.formats.load_option import CATEGORY_BOOT
from bootwatch.judge.altered import switched_on, usual
from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.entries import Entry, read_entries, read_order, variable_of
from bootwatch.judge.glance import BOOT_FOLDER, own_folder
from bootwatch.judge.listed import listed
from bootwatch.judge.made_option import option_for
from bootwatch.judge.outlook import How, Outlook, SystemOutlook, outlook
from bootwatch.judge.own_loaders import programs_in
from bootwatch.judge.pairs import plain
from bootwatch.judge.runnable import Judge
from bootwatch.judge.steps import By
from bootwatch.judge.systems import System, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume
from bootwatch.recover.harmless import in_harmless_order
from bootwatch.recover.loose_images import loose_images
from bootwatch.recover.numbers import free_number
from bootwatch.recover.steps import Step, WriteEntry, WriteOrder, after_all

_MOST_LOADERS = 8
_MOST_NOTED = 32
_LONGEST_LABEL = 64


@dataclass(frozen=True)
class Proposal:
    """``left`` are systems that stay without a route, each with a clause that says why; ``noted`` are
    sentences about what was taken for no system. ``now`` and ``then`` are the outlooks before and after."""

    steps: tuple[Step, ...]
    left: tuple[tuple[str, str], ...]
    noted: tuple[str, ...]
    now: Outlook
    then: Outlook
    state: State


def propose(state: State, gaps: tuple[Gap, ...], learn: Learn) -> Proposal:
    """An entry for each system that nothing leads to, behind those that there are; in front of them only
    where nothing starts by itself. No step keeps anything from starting."""
    made = _Proposer(state, gaps, learn(state)).entries()
    # Some systems are known by their entry only.
    known = learn(state, after_all(state, made.entries))
    return _Proposer(state, gaps, known).proposal(made)


Learn = Callable[..., Systems]
"""Systems as they are learnt from states, the present one first."""


@dataclass(frozen=True)
class _Made:
    entries: tuple[WriteEntry, ...]
    left: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class _Loader:
    """A file that may start a system; ``data`` is what its list says that it is handed."""

    volume: Volume
    path: str
    label: str
    data: bytes
    why: str


@dataclass(frozen=True)
class _Proposer:
    state: State
    gaps: tuple[Gap, ...]
    systems: Systems

    def entries(self) -> _Made:
        made: list[WriteEntry] = []
        left = []
        for one in self._wanting:
            found = self._for(one, made)
            if isinstance(found, str):
                left.append((one.name, found))
            else:
                made.append(found)
        if not any(gap.covers_an_entry for gap in self.gaps):
            made += self._images(made)
        return _Made(tuple(made), tuple(left))

    def proposal(self, made: _Made) -> Proposal:
        wanted: list[Step] = [*made.entries, *self._order(made.entries)]
        steps, refused = in_harmless_order(self.state, self.gaps, self.systems, wanted)
        left = list(made.left)
        left += [(one.what, "it would keep another system from starting") for one in refused]
        # An entry that only the order doesn't list is as it should be.
        steps = [one for one in steps if not (isinstance(one, WriteEntry) and one.over == one.data)]
        state = after_all(self.state, steps)
        then = self._ahead(state)
        starting = {one.name for one in then.systems if one.starts}
        left = [(name, why) for name, why in left if name not in starting]
        return Proposal(tuple(steps), tuple(left), tuple(self._noted()), self._now, then, state)

    def _ahead(self, state: State) -> Outlook:
        return outlook(usual(state), self.gaps, self.systems)

    @cached_property
    def _now(self) -> Outlook:
        return self._ahead(self.state)

    @cached_property
    def _wanting(self) -> list[SystemOutlook]:
        """The systems that nothing leads to for sure, or only what a person must choose though it needn't be
        so. With them those that start only as long as there are no entries; what starts next stays first."""
        watched = [one for one in self._now.systems if one.system.is_watched]
        wanting = [one for one in watched if self._wants(one)]
        if wanting:
            wanting += [one for one in watched if one not in wanting and self._is_fallback_only(one)]
        return sorted(wanting, key=lambda one: one.system != self._now.next_system)

    def _wants(self, one: SystemOutlook) -> bool:
        return one.how in (How.NOT_AT_ALL, How.UNKNOWN) or (
            one.how is How.ON_REQUEST and self._dormant(one.system) is not None
        )

    def _is_fallback_only(self, one: SystemOutlook) -> bool:
        """Whether nothing but the firmware's own search for default files comes to it by itself."""
        routes = list(one.working(unattended=True))
        return bool(routes) and all(route.by is By.FALLBACK for route in routes)

    # one system

    def _for(self, one: SystemOutlook, made: Sequence[WriteEntry]) -> WriteEntry | str:
        if any(gap.covers_an_entry for gap in self.gaps):
            return "whether an entry leads to it could not be read"
        dormant = self._dormant(one.system)
        if dormant and one.how is How.ON_REQUEST:
            return self._woken(dormant)
        loaders = list(self._loaders(one.system))[:_MOST_LOADERS]
        if not loaders:
            return "none of its boot volumes is here, or nothing lies there that this firmware runs"
        number = free_number(self.state, 0, [step.number for step in made])
        if number is None:
            return "the firmware has no number left for an entry"
        tried = [self._tried(one.system, loader, number) for loader in loaders]
        best = max((each for each in tried if each), key=lambda each: each[0], default=None)
        return best[1] if best else "none of its loaders would start"

    def _tried(self, system: System, loader: _Loader, number: int) -> tuple[int, WriteEntry] | None:
        """How well a system starts through an entry for that loader; None where it doesn't."""
        option = option_for(self.state, loader.volume, loader.path, loader.label)
        if option is None:
            return None
        step = WriteEntry(number, option + loader.data, loader.label, None, loader.why)
        after = after_all(self.state, (step, WriteOrder((number,), (), "")))
        routes = [route for one in self._ahead(after).systems if one.system == system for route in one.routes]
        own = next((route for route in routes if route.entry == f"Boot{number:04X}"), None)
        if own is None or own.starts is False:
            return None
        return 2 * (own.starts is True) + own.is_deep, step

    def _loaders(self, system: System) -> Iterator[_Loader]:
        """What the lists beside them name first, then those that no other one starts, the highest first."""
        for volume, folder in self._folders(system):
            for row in listed(self.state, volume, folder):
                path = f"{folder}\\{row.file}"
                file = volume.file(path)
                if file and self._runs(volume, file):
                    data = row.data.encode("utf-16-le", "surrogatepass")
                    why = "Nothing leads to it; the list beside it names this entry."
                    yield _Loader(volume, file.path, _label(row.label), data, why)
            for file in self._outermost(volume, folder):
                why = "Nothing leads to it; it is the program that lies above all others in its folder."
                yield _Loader(volume, file.path, _label(system.name), b"", why)

    def _folders(self, system: System) -> Iterator[tuple[Volume, str]]:
        """On disks that stay, those where it has a folder of its own first."""
        for identity, folder in sorted(system.folders, key=lambda one: fold(one[1]) == BOOT_FOLDER):
            for volume in self.state.volumes.values():
                disk = self.state.disks.get(volume.disk)
                if plain(volume.identity) == plain(identity) and disk and not disk.removable:
                    yield volume, folder

    def _outermost(self, volume: Volume, folder: str) -> list[File]:
        """Programs of a folder that the firmware runs and no other one there names in its text."""
        if fold(folder) == BOOT_FOLDER:
            default = volume.file(architecture_of(self.state).default_file)
            return [default] if default and self._runs(volume, default) else []
        found = [one for one in programs_in(volume, [folder]).values() if self._runs(volume, one)]
        named = {
            name
            for one in found
            for name in (one.program and one.program.mentions) or ()
            if name != _name(one)
        }
        free = [one for one in found if _name(one) not in named]
        return sorted(free or found, key=lambda one: (one.path.count("\\"), fold(one.path)))

    def _runs(self, volume: Volume, file: File) -> bool:
        return self._judge.file(volume, file.path, is_hidden=False).starts is not False

    @cached_property
    def _judge(self) -> Judge:
        return Judge(architecture_of(self.state))

    def _images(self, made: Sequence[WriteEntry]) -> Iterator[WriteEntry]:
        """For kernel images that firmware runs itself, where what started them is gone."""
        taken = [step.number for step in made]
        for volume, file in loose_images(self.state, self._now):
            names = file.program.names if file.program else {}
            label = _label(names.get("os") or file.path.rpartition("\\")[2].rpartition(".")[0])
            option, number = (
                option_for(self.state, volume, file.path, label),
                free_number(self.state, 0, taken),
            )
            if option is not None and number is not None:
                taken.append(number)
                yield WriteEntry(number, option, label, None, "Nothing leads to this kernel image any more.")

    # entries and order

    @cached_property
    def _entries(self) -> dict[int, Entry]:
        return read_entries(self.state)

    def _dormant(self, system: System) -> Entry | None:
        """An entry of its own that starts and that the firmware doesn't try."""
        one = self._now.by_key[system.key]
        for route in one.working():
            entry = self._by_name.get(route.entry or "")
            if entry and route.by is By.CHOICE and entry.category == CATEGORY_BOOT and not route.through:
                return entry
        return None

    @cached_property
    def _by_name(self) -> dict[str, Entry]:
        return {entry.name: entry for entry in self._entries.values()}

    def _woken(self, entry: Entry) -> WriteEntry:
        """Switched on; where it is on, the order alone lists it (the entry is written as it is)."""
        name = variable_of(entry.number)
        data = switched_on(self.state, entry.number).variables[name].data
        why = "The firmware doesn't try the entry." if entry.active else "The entry is switched off."
        return WriteEntry(entry.number, data, entry.label, self.state.variables[name].data, why)

    def _order(self, made: Sequence[WriteEntry]) -> Iterator[WriteOrder]:
        order = read_order(self.state)
        new = [step.number for step in made if step.over is None]
        woken = [step.number for step in made if step.over is not None and step.number not in order]
        if not new and not woken:
            return
        if any(self._stays_first(one) for one in self._now.systems):
            why = "What comes new is tried behind all that there is."
            yield WriteOrder((*order, *new, *woken), tuple(order), why)
        else:
            why = "Nothing that the firmware tries starts, so new entries are tried first."
            yield WriteOrder((*new, *order, *woken), tuple(order), why)

    def _stays_first(self, one: SystemOutlook) -> bool:
        return one.how is How.BY_ITSELF and not self._is_fallback_only(one)

    # what is no system

    def _noted(self) -> Iterator[str]:
        known = {(plain(place), fold(folder)) for one in self.systems.all() for place, folder in one.folders}
        found: dict[tuple[str, str], int] = {}
        for volume in self.state.volumes.values():
            for folded, file in volume.by_folded_path.items():
                folder = own_folder(folded)
                if folder and file.program and (plain(volume.identity), folder) not in known:
                    place = volume.identity, file.path[: len(folder)]
                    found[place] = found.get(place, 0) + 1
        for (identity, folder), programs in list(found.items())[:_MOST_NOTED]:
            counted = "1 program" if programs == 1 else f"{programs} programs"
            yield f"{folder} on {identity} holds {counted} and was taken for no system."


def _name(file: File) -> str:
    return file.path.rpartition("\\")[2].lower()


def _label(text: str) -> str:
    """For a firmware's menu: short, and nothing that isn't shown."""
    return "".join(one for one in text if one.isprintable())[:_LONGEST_LABEL] or "Boot"
