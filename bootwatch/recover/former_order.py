"""The baseline's boot order by the numbers that its entries have today; what may be put in front. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from bootwatch.judge.entries import Entry, read_entries, read_order, variable_of
from bootwatch.judge.pairs import Pairs, pair_entries
from bootwatch.model.snapshot import State
from bootwatch.recover.numbers import renumbered
from bootwatch.recover.steps import Step, WriteEntry, WriteOrder


def former_order(
    before: State, now: Iterable[int], entries: Pairs[Entry], steps: Iterable[Step] = ()
) -> list[int]:
    """The order of ``before`` by the numbers that its ``entries`` have, or will have once ``steps`` made
    them. A number that another entry has ``now`` is none of it."""
    places = {before.number: now.number for before, now in entries.same}
    for step in steps:
        if isinstance(step, WriteEntry) and step.over is None:
            own = (
                one.number
                for one in entries.missing
                if before.variables[variable_of(one.number)].data == step.data
            )
            places |= {number: step.number for number in own if number not in places}
    return renumbered(read_order(before), places, set(now))


def puts_nothing_in_front(step: WriteOrder, before: State, now: State) -> bool:
    """Whether a boot order puts no entry further in front that isn't in the order of ``before``, and none
    first but what came first there. ``now`` has the entries that there are then."""
    today = read_entries(now)
    entries = pair_entries(read_entries(before).values(), today.values())
    former = former_order(before, today, entries)
    if not set(step.order) - set(step.over) <= set(former):
        return False
    return _is_first(step, former, now) and _keeps_behind(step, set(former))


def _is_first(step: WriteOrder, former: Sequence[int], now: State) -> bool:
    """Of two entries that are the same either may be it."""
    listed = [number for number in former if number in step.order]
    alike = {step.order[0], *listed[:1]} if step.order else set()
    held = {now.variables.get(variable_of(number)) for number in alike}
    is_same = len(alike) == 1 or (len(held) == 1 and None not in held)
    return step.order[:1] == step.over[:1] or (bool(listed) and is_same)


def _keeps_behind(step: WriteOrder, former: set[int]) -> bool:
    """Whether each entry that is none of the baseline's order comes behind all that it came behind."""
    places = {number: place for place, number in reversed(list(enumerate(step.over)))}
    first = math.inf
    for number in reversed(step.order):
        place = places.get(number, math.inf)
        if number not in former and place > first:
            return False
        first = min(first, place)
    return True
