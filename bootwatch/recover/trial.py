"""A start of one system for once, by BootNext, to see whether the firmware really comes to it. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.judge.altered import usual
from bootwatch.judge.entries import entries_by_name
from bootwatch.judge.outlook import Outlook, outlook
from bootwatch.judge.steps import Route
from bootwatch.judge.systems import Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.recover.steps import SetNext


@dataclass(frozen=True)
class Trial:
    """``why_not`` says why there is no ``step``, as a clause. ``route`` is what would be tried."""

    step: SetNext | None
    why_not: str
    route: Route | None
    now: Outlook
    then: Outlook
    state: State


def trial(state: State, gaps: tuple[Gap, ...], systems: Systems, wanted: str) -> Trial:
    """For the system of the name ``wanted``: through an entry that doesn't start it anyway, if it has one."""
    now = outlook(usual(state), gaps, systems)
    entries = entries_by_name(state)
    one = next((each for each in now.systems if each.name == wanted), None)
    routes = [
        route
        for route in (one.routes if one else ())
        if route.entry in entries and not route.through and route.starts is not False
    ]
    routes.sort(key=lambda route: (route.starts is not True, route.entry == now.next_start.entry))
    if not routes:
        why = (
            "no entry leads to it; see bootwatch restore --add-route"
            if one and one.starts
            else "it doesn't start"
        )
        return Trial(None, why, None, now, now, state)
    entry = entries[routes[0].entry or ""]
    held = state.variable("BootNext")
    why = "It is started once through this entry; the boot order stays as it is."
    step = SetNext(entry.number, entry.label, held.data if held else None, why)
    after = step.after(state)
    return Trial(step, "", routes[0], now, outlook(after, gaps, systems), after)
