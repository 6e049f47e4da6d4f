"""Boot entries and their order of a baseline, with some of what happened to them taken over."""

from __future__ import annotations

import struct
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from bootwatch.formats import utf16
from bootwatch.judge.altered import with_order
from bootwatch.judge.entries import read_order, variable_of
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable, entry_number, key

_HEAD = struct.Struct("<IH")
# A change to a pair of entries, but for what leads nowhere since its disk is attached elsewhere.
LEADS_NOWHERE = "leads_nowhere"


class _Entries:
    """What becomes of each entry of the baseline: ``place`` is its number afterwards, by the one before."""

    def __init__(self, sides: Sides, changes: Sequence[Change]) -> None:
        self.sides = sides
        self.partner = {before.number: now.number for before, now in sides.entries.same}
        self.gone = {_number(one.before) for one in changes if one.change == "entry-missing"}
        self.added = [_number(one.after) for one in changes if one.change == "entry-added"]
        self.altered: dict[int, set[str]] = {}
        for one in changes:
            if one.change.startswith("entry-") and one.before and one.after and not leads_nowhere(one):
                self.altered.setdefault(_number(one.before), set()).add(one.change)
        self.place = {
            number: self.partner[number] if self._moves(number) else number
            for number in sides.entries_before
            if number not in self.gone
        }

    def _moves(self, number: int) -> bool:
        return "entry-renumbered" in self.altered.get(number, ())

    @property
    def is_possible(self) -> bool:
        """Whether no two entries would need one number."""
        numbers = [*self.place.values(), *self.added]
        return len(set(numbers)) == len(numbers)

    def variables(self) -> dict[str, Variable]:
        before, now = self.sides.before.variables, self.sides.now.variables
        moved = {number for number, place in self.place.items() if place != number}
        left = {variable_of(number) for number in self.gone | moved}
        variables = {name: one for name, one in before.items() if _is_entry(name) and name not in left}
        for number, names in self.altered.items():
            old, new = before[variable_of(number)], now[variable_of(self.partner[number])]
            variables[variable_of(self.place[number])] = replace(old, data=merged(old.data, new.data, names))
        return variables | {name: now[name] for name in map(variable_of, self.added)}

    def kept_order(self) -> list[int]:
        """The baseline's order: without what is gone, new ones at its end, numbers without an entry as they
        were unless one takes their number."""
        known, taken = self.sides.entries_before, {*self.place.values(), *self.added}
        order = [
            self.place.get(number, number)
            for number in read_order(self.sides.before)
            if number not in self.gone and (number in known or number not in taken)
        ]
        if not self.sides.knows_variable(key("BootOrder")):
            return order
        return order + [number for number in read_order(self.sides.now) if number in self.added]

    def todays_order(self) -> list[int]:
        """Today's order of what both sides know; what only the baseline holds stays where it stood."""
        former = {now: self.place[before] for before, now in self.partner.items()}
        former |= {number: number for number in self.added}
        order = [former[number] for number in read_order(self.sides.now) if number in former]
        known, at = set(former.values()), 0
        for number in self.kept_order():
            if number not in known:
                order.insert(at, number)
                at += 1
            elif number in order:
                at = order.index(number) + 1
        return order


def with_entries(state: State, sides: Sides, changes: Sequence[Change]) -> State | None:
    """``state``, which holds the baseline's variables, with these changes of entries and their order.

    None where two entries would need one number.
    """
    entries = _Entries(sides, changes)
    if not entries.is_possible:
        return None
    is_order_taken = any(one.change == "order-changed" for one in changes)
    order = entries.todays_order() if is_order_taken else entries.kept_order()
    others = {name: one for name, one in state.variables.items() if not _is_entry(name)}
    state = replace(state, variables=others | entries.variables())
    return state if order == read_order(sides.before) else with_order(state, order)


def _is_entry(name: str) -> bool:
    return entry_number(name) is not None


def merged(old: bytes, new: bytes, names: Collection[str]) -> bytes:
    """A load option (UEFI 2.10 §3.1.3) with those fields of ``new`` that the changes' names tell of."""
    (attributes, label, path, data), its = _fields(old), _fields(new)
    if "entry-inactive" in names:
        attributes = its[0]
    if "entry-relabelled" in names:
        label = its[1]
    if "entry-retargeted" in names:  # where it leads somewhere else, its data aren't told apart
        path, data = its[2], its[3]
    if "entry-data-changed" in names:
        data = its[3]
    return _HEAD.pack(attributes, len(path)) + label + path + data


def _fields(option: bytes) -> tuple[int, bytes, bytes, bytes]:
    """Attributes, description with its NUL, device path list, optional data; of an acceptable option."""
    attributes, length = _HEAD.unpack_from(option)
    end = utf16.nul_at(option, _HEAD.size) + 2
    return attributes, option[_HEAD.size : end], option[end : end + length], option[end + length :]


def leads_nowhere(change: Change) -> bool:
    """Whether an entry is as it was and leads to nothing any more: its disk is attached elsewhere."""
    return change.change == "entry-retargeted" and bool(change.after.get(LEADS_NOWHERE))


def _number(entry: dict[str, str]) -> int:
    return int(entry["entry"].removeprefix("Boot"), 16)


def with_settings(state: State, now: State, names: Iterable[str]) -> State:
    """With variables of ``now``, by their file names; one that isn't there now is taken away."""
    variables = dict(state.variables)
    for name in names:
        variables.pop(name, None)
        if name in now.variables:
            variables[name] = now.variables[name]
    return replace(state, variables=variables)
