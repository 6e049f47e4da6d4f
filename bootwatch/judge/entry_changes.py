"""What happened to boot entries, their order and BootNext."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from bootwatch.judge.drafts import Draft
from bootwatch.judge.entries import Entry, entry_name, read_next, read_order, variable_of
from bootwatch.judge.sides import Sides
from bootwatch.model.variable import key


def entry_changes(sides: Sides) -> Iterator[Draft]:
    """Missing, added and altered entries."""
    pairs = sides.entries
    for entry in pairs.missing:
        if sides.knows_entry_gone(variable_of(entry.number)):
            yield _draft("entry-missing", sides, entry, before=entry.to_json())
    for entry in pairs.added:
        if sides.knows_variable(variable_of(entry.number)):
            yield _draft("entry-added", sides, entry, after=entry.to_json())
    for before, now in pairs.same:
        for name in _alterations(before, now, sides.knows_variable(variable_of(before.number))):
            yield _draft(name, sides, before, before.to_json(), now.to_json())


def _alterations(before: Entry, now: Entry, knows_number: bool) -> Iterator[str]:
    """``knows_number``: the variable that the entry stood in could be read, so it can be said to have moved.

    Firmware compares the partition's number too, so an entry with another number leads somewhere else.
    """
    if (before.place, before.partition) != (now.place, now.partition):
        yield "entry-retargeted"
    elif before.data != now.data:
        yield "entry-data-changed"
    if before.is_tried and not now.is_tried:
        yield "entry-inactive"
    if before.number != now.number and knows_number:
        yield "entry-renumbered"
    if before.label != now.label:
        yield "entry-relabelled"


def _draft(name: str, sides: Sides, entry: Entry, before: Any = None, after: Any = None) -> Draft:
    return Draft(
        change=name,
        identity=entry.identity,
        what=describe(entry),
        where=", ".join(part for part in (entry.name, entry.volume, entry.file or entry.path) if part),
        system=sides.systems.of_entry(entry),
        before=before,
        after=after,
        path=entry.file or "",
        scope={"variables": variable_of(entry.number)},
    )


def moved_entries(sides: Sides, names: Iterable[str]) -> Iterator[Draft]:
    """Entries that are as they were and lead to nothing any more: their disk is attached elsewhere."""
    lost = set(names)
    for before, now in sides.entries.same:
        if before.name in lost:
            after = {**now.to_json(), "leads_nowhere": True}
            yield _draft("entry-retargeted", sides, before, before.to_json(), after)


def describe(entry: Entry) -> str:
    """The entry as a noun phrase."""
    return f'the entry "{entry.label}"' if entry.label else f"the entry {entry.name} without a label"


def order_changes(sides: Sides) -> Iterator[Draft]:
    """Whether known entries are tried in another order, are no longer tried, or come after a new one.

    An entry that is gone, or a new one behind all others, is told as such and changes no order.
    """
    if not sides.knows_variable(key("BootOrder")):
        return
    before, now = read_order(sides.before), read_order(sides.now)
    if same_order(sides, lambda entry: True):
        return
    yield Draft(
        change="order-changed",
        identity=("BootOrder",),
        what="the boot order",
        where="BootOrder",
        scope={"variables": key("BootOrder")},
        before=[_short(number, sides.entries_before) for number in before],
        after=[_short(number, sides.entries_now) for number in now],
    )


def same_order(sides: Sides, counts: Callable[[Entry], bool]) -> bool:
    """Whether the entries that count are tried in the order of the baseline, and none comes before them that
    was not there."""
    pairs = [(old.number, new.number) for old, new in sides.entries.same if counts(old) and counts(new)]
    partner = dict(pairs)
    former = [partner[number] for number in read_order(sides.before) if number in partner]
    known = set(partner.values())
    now = [
        number
        for number in read_order(sides.now)
        if number in known or (number in sides.entries_now and counts(sides.entries_now[number]))
    ]
    last = max((place for place, number in enumerate(now) if number in known), default=-1)
    return former == [number for place, number in enumerate(now) if number in known or place < last]


def next_changes(sides: Sides) -> Iterator[Draft]:
    """Whether something other than the usual order was asked for, once, for the next start."""
    number = read_next(sides.now)
    if number is None or number == read_next(sides.before) or not sides.knows_variable(key("BootNext")):
        return
    entry = sides.entries_now.get(number)
    yield Draft(
        change="next-set",
        identity=("BootNext",),
        what="the entry for the next start alone",
        where=f"BootNext = {entry_name(number)}",
        system=sides.systems.of_entry(entry) if entry else None,
        after=_short(number, sides.entries_now),
        scope={"variables": key("BootNext")},
    )


def _short(number: int, entries: dict[int, Entry]) -> dict[str, Any]:
    entry = entries.get(number)
    return {"entry": entry_name(number), "label": entry.label if entry else None}
