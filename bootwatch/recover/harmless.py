"""Steps in an order in which none of them keeps a system from starting that starts before it. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from bootwatch.judge.altered import usual
from bootwatch.judge.outlook import outlook
from bootwatch.judge.systems import Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.recover.steps import Step


def starting(state: State, gaps: tuple[Gap, ...], systems: Systems) -> frozenset[str]:
    """The keys of the systems that surely start, by themselves or on request."""
    return frozenset(one.system.key for one in outlook(usual(state), gaps, systems).systems if one.starts)


def in_harmless_order(
    state: State, gaps: tuple[Gap, ...], systems: Systems, steps: Sequence[Step]
) -> tuple[list[Step], list[Step]]:
    """The steps, each as early as it takes nothing away from what the ones before it left; and those that
    would at any place. Wherever the former are cut off, what started before still starts."""
    done: list[Step] = []
    held, waiting = starting(state, gaps, systems), list(steps)
    while waiting:
        for step in waiting:
            after = step.after(state)
            then = starting(after, gaps, systems)
            if held <= then:
                break
        else:
            return done, waiting
        done.append(step)
        waiting.remove(step)
        state, held = after, then
    return done, []
