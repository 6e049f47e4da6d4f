"""What happened to entries and their order between two starts, as far as it is a firmware's habit.

Seen from the last snapshot of one start and the first of the next. In between another system may have run as
well as the firmware; only a look at the shutdown proves that it was not something here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.entries import Entry, read_entries, read_order
from bootwatch.model.change import Custody
from bootwatch.model.gap import Gap
from bootwatch.model.habit import Habit, Sighting
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable, entry_number, key

_LABEL = 80
_MOST = 4
# More than any firmware has room for; nothing is claimed of a machine that says so.
_MOST_ENTRIES = 4096

Identity = tuple[str, str, str]


@dataclass(frozen=True)
class Seen:
    """A state with what could not be read of it. Of the state only variables and disks are looked at."""

    state: State
    gaps: tuple[Gap, ...] = ()

    @cached_property
    def entries(self) -> dict[Identity, Entry]:
        return {entry.identity: entry for entry in read_entries(self.state).values()}

    @cached_property
    def order(self) -> list[Identity]:
        """The boot order by what its numbers mean."""
        by_number = {entry.number: identity for identity, entry in self.entries.items()}
        numbers = dict.fromkeys(read_order(self.state))
        return [by_number[number] for number in numbers if number in by_number]

    @property
    def is_blind(self) -> bool:
        """Whether an entry or the order could not be read: then nothing is gone, and nothing was moved."""
        return len(self.start_variables) > _MOST_ENTRIES or any(
            gap.covers_an_entry or gap.covers_variable(key("BootOrder")) for gap in self.gaps
        )

    @property
    def has_unread_disks(self) -> bool:
        return any(gap.kind == "disk" for gap in self.gaps)

    @cached_property
    def start_variables(self) -> dict[str, Variable]:
        """The boot order and every entry, as bytes."""
        return {
            name: variable
            for name, variable in self.state.variables.items()
            if name == key("BootOrder") or entry_number(name) is not None
        }

    @cached_property
    def disks_of(self) -> dict[str, set[str]]:
        """The keys of the disks that have a partition, by its identifier."""
        found: dict[str, set[str]] = {}
        for disk in self.state.disks.values():
            for part in disk.partitions:
                found.setdefault(part.identifier, set()).add(disk.key)
        return found


def sightings(begin: Seen | None, end: Seen, now: Seen, custody: Custody) -> list[Sighting]:
    """What happened between ``end``, the last look of one start, and ``now``, the first of the next.

    ``begin`` is the first look of the start that ``end`` belongs to, None where there is none. Each habit
    comes once at most.
    """
    if end.is_blind or now.is_blind or end.start_variables == now.start_variables:
        return []
    edits = list(_dropped(begin, end, now)) if begin and not begin.is_blind else []
    found = {
        Habit.DELETES_ABSENT: list(_deleted(end, now)),
        Habit.DROPS_EDITS: edits,
        # An order that was put back is no choice of the firmware's own.
        Habit.OWN_CHOICE_FIRST: [] if edits else list(_moved_in_front(end, now)),
    }
    return [Sighting(habit, custody, _listed(what)) for habit, what in found.items() if what]


def _listed(what: list[str]) -> str:
    more = len(what) - _MOST
    return "; ".join((*what[:_MOST], *((f"and {more} more",) if more > 0 else ())))


def _moved_in_front(end: Seen, now: Seen) -> Iterator[str]:
    if not end.order or not now.order or end.order[0] == now.order[0] or end.order[0] not in now.order:
        return
    was, new = now.entries[end.order[0]], now.entries[now.order[0]]
    made = ", which the firmware made itself," if new.is_firmware_made else ""
    yield f"{_words(new)}{made} in front of {_words(was)}"


def _dropped(begin: Seen, end: Seen, now: Seen) -> Iterator[str]:
    """What was set while this system ran, and is as it was before."""
    common = begin.entries.keys() & end.entries.keys() & now.entries.keys()
    was, made, found = ([one for one in seen.order if one in common] for seen in (begin, end, now))
    if was != made and was == found:
        yield "the boot order is as it was before"
    for identity, entry in end.entries.items():
        is_gone = identity not in begin.entries and identity not in now.entries and not entry.is_firmware_made
        if is_gone and (entry.volume is None or entry.volume in now.disks_of):
            yield f"{_words(entry)}, which was new, is gone"
    for identity, entry in now.entries.items():
        if identity in begin.entries and identity not in end.entries and not entry.is_firmware_made:
            yield f"{_words(entry)}, which was deleted, is back"
    for identity in sorted(common):
        if begin.entries[identity].active == now.entries[identity].active != end.entries[identity].active:
            state = "on" if now.entries[identity].active else "off"
            yield f"{_words(now.entries[identity])} is switched {state} again"


def _deleted(end: Seen, now: Seen) -> Iterator[str]:
    """Entries that are gone together with the disk that they name."""
    if now.has_unread_disks:
        return
    for identity, entry in end.entries.items():
        if identity in now.entries or entry.is_firmware_made:
            continue
        disks = end.disks_of.get(entry.volume or "", set())
        if disks and not disks & now.state.disks.keys() and entry.volume not in now.disks_of:
            yield _words(entry)


def _words(entry: Entry) -> str:
    return f"{entry.name} ({entry.label[:_LABEL]})"
