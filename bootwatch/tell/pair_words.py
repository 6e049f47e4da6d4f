"""Which two snapshots are compared, in words."""

from __future__ import annotations

from bootwatch.model.change import Drift
from bootwatch.model.side import Side, Source
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain

_NAME = 200


def are_recorded(sides: tuple[Side, Side]) -> bool:
    """Whether the machine's own history recorded both, so that the time between them is its own."""
    return all(side.source is Source.HISTORY for side in sides)


def head(drift: Drift, machine: str, sides: tuple[Side, Side], width: int) -> list[str]:
    """The first lines of a report: what came out, of what, and what to mind about it."""
    lines = wrapped(f"{plain(machine, _NAME)}: {phrases.one_line(drift, 'between the two')}.", width)
    return lines + wrapped(" ".join(_sentences(*sides)), width)


def _sentences(first: Side, second: Side) -> list[str]:
    said = [f"Compared: {name(first)} with {name(second)}."]
    if first.is_of_another_machine(second):
        machines = f"{plain(first.machine, _NAME)} and {plain(second.machine, _NAME)}"
        said.append(f"They are of two machines, {machines}: what differs need not have changed.")
    if are_recorded((first, second)) and (first.number or 0) > (second.number or 0):
        said.append(f"Snapshot {first.number} is the later of them, so this reads backwards.")
    return said


def name(side: Side) -> str:
    """``snapshot 3 (2026-11-25 07:12 UTC)``, ``before.json (snapshot 3 of hall, 2026-11-25 07:12 UTC)``."""
    when = phrases.moment(side.time)
    if side.source is Source.HISTORY:
        return f"snapshot {side.number} ({when})"
    number = f"snapshot {side.number} of " if side.number is not None else ""
    return f"{plain(side.name, _NAME)} ({number}{plain(side.machine, _NAME)}, {when})"
