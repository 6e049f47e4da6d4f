"""Steps in an order in which none of them keeps a system from starting that starts before it. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from bootwatch.judge.altered import usual
from bootwatch.judge.outlook import outlook
from bootwatch.judge.systems import Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.recover.steps import Step

Standing = dict[str, int]


def standing(state: State, gaps: tuple[Gap, ...], systems: Systems) -> Standing:
    """How each system stands, by its key: 2 where it surely starts, by itself or on request, 1 where that
    can't be told, 0 where it doesn't."""
    found = outlook(usual(state), gaps, systems).systems
    return {one.system.key: 1 if one.starts is None else 2 * one.starts for one in found}


def is_no_worse(then: Standing, before: Standing) -> bool:
    """Whether each system stands at least as it did. What can't be told may well start."""
    return all(then.get(key, 0) >= rank for key, rank in before.items())


def in_harmless_order(
    state: State, gaps: tuple[Gap, ...], systems: Systems, steps: Sequence[Step]
) -> tuple[list[Step], list[Step]]:
    """The steps, each as early as it takes nothing away from what the ones before it left; and those that
    would at any place. Wherever the former are cut off, what started before still starts."""
    done: list[Step] = []
    held, waiting = standing(state, gaps, systems), list(steps)
    while waiting:
        for step in waiting:
            after = step.after(state)
            then = standing(after, gaps, systems)
            if is_no_worse(then, held):
                break
        else:
            return done, waiting
        done.append(step)
        waiting.remove(step)
        state, held = after, then
    return done, []
