"""A state with fewer entries, for stores that hold more of them than any machine does."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, replace

from bootwatch.formats import utf16
from bootwatch.judge.altered import with_order
from bootwatch.judge.entries import entry_name, read_order, variable_of
from bootwatch.judge.outlook import Outlook
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number

MOST_ENTRIES = 128
_MOST_READ = 2048
_MOST_ALIKE = 2
_HEAD = 6  # bytes before a load option's description (UEFI 2.10 §3.1.3)


@dataclass(frozen=True)
class Thinned:
    """``left_out`` counts the entries; ``is_cut``: among them some that may lead to what no kept one does."""

    state: State
    left_out: int = 0
    is_cut: bool = False

    @property
    def limits(self) -> tuple[str, ...]:
        """What there is to say about it."""
        if not self.left_out:
            return ()
        which = "that start nothing new" if not self.is_cut else "behind the first ones"
        return (f"{self.left_out} entries {which} were left out.",)

    def and_then(self, later: Thinned) -> Thinned:
        return Thinned(later.state, self.left_out + later.left_out, self.is_cut or later.is_cut)


def readable(state: State) -> Thinned:
    """The state itself unless it holds thousands of entries; else with those first that differ in more than
    their label, in the firmware's order. Nothing of them is worked out yet."""
    numbers = _numbers(state)
    if len(numbers) <= _MOST_READ:
        return Thinned(state)
    order = dict.fromkeys(read_order(state))
    own = set(numbers)
    all_of_them = [*(number for number in order if number in own), *(n for n in numbers if n not in order)]
    wanted = list(_unlike((number, _mark(state, number, number in order)) for number in all_of_them))
    return _with_only(state, wanted[:_MOST_READ], len(numbers), len(wanted) > _MOST_READ)


def _mark(state: State, number: int, is_listed: bool) -> Hashable:
    """What makes an entry start something else than another one: all but its label."""
    data = state.variables[variable_of(number)].data
    end = utf16.nul_at(data, _HEAD)
    return is_listed, data[:_HEAD], data[end:] if end >= 0 else b""


def thinned(state: State, now: Outlook) -> Thinned:
    """The state itself unless it holds too many entries to rehearse each.

    Those that start nothing go first, then those that do no more than two others before them: the loss of one
    thing can't make a difference to either. ``now`` is the outlook on ``state``.
    """
    numbers = _numbers(state)
    if len(numbers) <= MOST_ENTRIES:
        return Thinned(state)
    by_name = {entry_name(number): number for number in numbers}
    routes = (route for route in now.startup.routes if route.entry in by_name and route.starts is not False)
    wanted = list(
        _unlike(
            (by_name[route.entry or ""], (route.volume, route.file, route.starts, route.unattended))
            for route in routes
        )
    )
    return _with_only(state, wanted[:MOST_ENTRIES], len(numbers), len(wanted) > MOST_ENTRIES)


def _numbers(state: State) -> list[int]:
    return [number for name in state.variables if (number := entry_number(name)) is not None]


def _unlike(marked: Iterable[tuple[int, Hashable]]) -> Iterator[int]:
    """The numbers of those of which there were no two alike before; each once."""
    alike: Counter[Hashable] = Counter()
    seen: set[int] = set()
    for number, mark in marked:
        alike[mark] += 1
        if alike[mark] <= _MOST_ALIKE and number not in seen:
            seen.add(number)
            yield number


def _with_only(state: State, numbers: Iterable[int], held: int, is_cut: bool) -> Thinned:
    kept = set(numbers)
    variables = {
        name: variable
        for name, variable in state.variables.items()
        if (number := entry_number(name)) is None or number in kept
    }
    thin = replace(state, variables=variables)
    if read_order(state):
        thin = with_order(thin, (number for number in read_order(state) if number in kept))
    return Thinned(thin, held - len(kept), is_cut)
