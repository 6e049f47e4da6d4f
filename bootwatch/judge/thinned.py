"""A state with fewer entries, for stores that hold more of them than any machine does."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from bootwatch.judge.altered import with_order
from bootwatch.judge.entries import entry_name, read_order
from bootwatch.judge.outlook import Outlook
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number

MOST_ENTRIES = 128
_MOST_ALIKE = 2


@dataclass(frozen=True)
class Thinned:
    """``left_out`` counts the entries; ``is_cut``: among them some that lead to what no kept one leads to."""

    state: State
    left_out: int = 0
    is_cut: bool = False

    @property
    def limits(self) -> tuple[str, ...]:
        """What there is to say about it."""
        if not self.left_out:
            return ()
        which = "that start nothing new" if not self.is_cut else f"behind the first {MOST_ENTRIES} that count"
        return (f"{self.left_out} entries {which} were left out.",)


def thinned(state: State, now: Outlook) -> Thinned:
    """The state itself unless it holds too many entries.

    Those that start nothing go first, then those that do no more than two others before them: the loss of one
    thing can't make a difference to either. ``now`` is the outlook on ``state``.
    """
    numbers = [number for name in state.variables if (number := entry_number(name)) is not None]
    if len(numbers) <= MOST_ENTRIES:
        return Thinned(state)
    wanted = list(_wanted(now))
    kept = set(wanted[:MOST_ENTRIES])
    variables = {
        name: variable
        for name, variable in state.variables.items()
        if (number := entry_number(name)) is None or entry_name(number) in kept
    }
    thin = replace(state, variables=variables)
    order = read_order(state)
    if order:
        thin = with_order(thin, (number for number in order if entry_name(number) in kept))
    return Thinned(thin, len(numbers) - len(kept), len(wanted) > len(kept))


def _wanted(now: Outlook) -> dict[str, None]:
    alike: Counter[tuple[object, ...]] = Counter()
    found: dict[str, None] = {}
    for route in now.startup.routes:
        if route.entry is None or route.starts is False:
            continue
        mark = (route.volume, route.file, route.starts, route.unattended)
        alike[mark] += 1
        if alike[mark] <= _MOST_ALIKE:
            found[route.entry] = None
    return found
