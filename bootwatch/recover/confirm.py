"""Whether a firmware kept what a restore wrote, told by a snapshot of a later start. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bootwatch.judge.entries import entry_name, read_order, variable_of
from bootwatch.judge.pairs import plain
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number, key
from bootwatch.recover.steps import SetType, Step, WriteEntry, WriteFile, WriteOrder


@dataclass(frozen=True)
class Confirmed:
    """Steps that are no longer as they were written, and those of which it can't be told."""

    dropped: tuple[Step, ...] = ()
    unknown: tuple[Step, ...] = ()

    @property
    def is_kept(self) -> bool:
        return not self.dropped and not self.unknown


def confirmed(steps: Sequence[Step], state: State, gaps: Sequence[Gap]) -> Confirmed:
    """What became of the ``steps``, in the order in which they were written, as far as they are to last."""
    last = {step.target: step for step in lasting(steps)}
    found = [(step, _is_kept(step, state, gaps)) for step in last.values()]
    dropped = tuple(step for step, kept in found if kept is False)
    return Confirmed(dropped, tuple(step for step, kept in found if kept is None))


def reverted(found: Confirmed, state: State) -> list[Step]:
    """Of what is no longer as it was written: what is gone or as it was before. All else was changed anew."""
    return [step for step in found.dropped if _is_as_before(step, state)]


def noun(step: Step) -> str:
    """What it wrote."""
    match step:
        case WriteFile():
            return f"the file {step.file.path}"
        case WriteEntry():
            return f'the entry "{step.label}" ({entry_name(step.number)})'
        case SetType():
            return f"the type of the partition {step.volume}"
    return "the boot order"


def lasting(steps: Sequence[Step]) -> list[Step]:
    """Without what is asked for at one start only."""
    return [step for step in steps if isinstance(step, (WriteFile, WriteEntry, WriteOrder, SetType))]


def _is_kept(step: Step, state: State, gaps: Sequence[Gap]) -> bool | None:
    """None where it can't be told."""
    match step:
        case WriteFile():
            return _is_file_kept(step, state, gaps)
        case WriteEntry():
            own = variable_of(step.number)
            held = state.variables.get(own)
            if held and held.data == step.data:
                return True
            # Some firmware gives other numbers.
            entries = [one.data for name, one in state.variables.items() if entry_number(name) is not None]
            return True if step.data in entries else _false_unless(gaps, own)
        case WriteOrder():
            # What the firmware adds of its own takes nothing away, unless it comes first.
            order = read_order(state)
            listed = [number for number in order if number in step.order]
            is_kept = listed == list(step.order) and order[:1] == list(step.order[:1])
            return True if is_kept else _false_unless(gaps, key("BootOrder"))
        case SetType():
            return _is_type_kept(step, state)
    return True


def _is_file_kept(step: WriteFile, state: State, gaps: Sequence[Gap]) -> bool | None:
    volumes = [one for one in state.volumes.values() if plain(one.identity) == plain(step.volume)]
    held = volumes[0].file(step.file.path) if volumes else None
    if held and held.sha256 == step.file.sha256:
        return True
    scope = {"volume": step.volume, "path": step.file.path}
    if not volumes or any(gap.hides(scope) for gap in gaps) or (held and held.sha256 is None):
        return None
    return False


def _is_as_before(step: Step, state: State) -> bool:
    match step:
        case WriteFile():
            held = next((one for one in state.volumes.values() if one.identity == step.volume), None)
            there = held.file(step.file.path) if held else None
            return held is not None and (there is None or there.sha256 == step.over)
        case WriteEntry():
            own = state.variables.get(variable_of(step.number))
            return own is None or own.data == step.over
        case WriteOrder():
            orders = read_order(state), list(step.over)
            return len({tuple(one for one in order if one in step.order) for order in orders}) == 1
        case SetType():
            return any((one.identity, one.type) == (step.volume, step.over) for one in state.volumes.values())
    return False


def _is_type_kept(step: SetType, state: State) -> bool | None:
    kinds = [one.type for one in state.volumes.values() if plain(one.identity) == plain(step.volume)]
    return kinds[0] == step.type if kinds and kinds[0] else None


def _false_unless(gaps: Iterable[Gap], variable: str) -> bool | None:
    return None if any(gap.hides({"variables": variable}) for gap in gaps) else False
