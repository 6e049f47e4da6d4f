"""After the next start: is what a restore wrote still there?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from bootwatch.judge import altered
from bootwatch.judge.entries import variable_of
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.variable import key
from bootwatch.recover.confirm import confirmed, noun, reverted
from bootwatch.recover.steps import ClearNext, WriteEntry, WriteFile, WriteOrder, after_all
from tests.judge.dual import ENTRIES
from tests.judge.states import FERNWICK, program
from tests.recover.plans import ON_FERNWICK, overwritten, whole, with_variable

ENTRY = whole().variables[variable_of(1)].data
STEPS = (
    WriteFile(ON_FERNWICK, replace(program("fernwick 2"), path=FERNWICK), "", "why"),
    WriteEntry(1, ENTRY, "Quarry", None, "why"),
    WriteOrder((0, 1), (0,), "why"),
    ClearNext(b"\1\0", "why"),
)
WRITTEN = after_all(with_variable(whole(), "BootNext", b"\1\0"), STEPS)


def without(state: State, name: str) -> State:
    return replace(state, variables={own: one for own, one in state.variables.items() if own != name})


def renumbered(state: State) -> State:
    return with_variable(without(state, variable_of(1)), "Boot0009", ENTRY)


@pytest.mark.parametrize(
    ("then", "dropped"),
    [
        (lambda state: state, []),
        (lambda state: without(state, variable_of(1)), ["WriteEntry"]),
        (renumbered, []),
        (lambda state: altered.with_order(state, (1, 0)), ["WriteOrder"]),
        (lambda state: altered.with_order(state, (0, 7, 1)), []),  # one of the firmware's own behind it
        (lambda state: altered.with_order(state, (7, 0, 1)), ["WriteOrder"]),
        (lambda state: without(state, key("BootOrder")), ["WriteOrder"]),
        (lambda state: altered.without_file(state, ON_FERNWICK, FERNWICK), ["WriteFile"]),
    ],
)
def test_what_is_no_longer_as_it_was_written(then: Callable[[State], State], dropped: list[str]) -> None:
    found = confirmed(STEPS, then(WRITTEN), ())
    assert [type(one).__name__ for one in found.dropped] == dropped
    assert found.unknown == ()


@pytest.mark.parametrize(
    ("then", "nouns"),
    [
        (lambda state: without(state, variable_of(1)), ['the entry "Quarry" (Boot0001)']),
        (lambda state: with_variable(state, "Boot0001", ENTRIES[0]), []),  # somebody's own
        (lambda state: altered.with_order(state, (7, 0)), ["the boot order"]),
        (lambda state: altered.with_order(state, (1, 0)), []),
        (lambda state: altered.without_file(state, ON_FERNWICK, FERNWICK), [f"the file {FERNWICK}"]),
        (lambda state: overwritten(state, ON_FERNWICK, FERNWICK, "fernwick 3"), []),  # an update
        (lambda state: replace(state, volumes={}), []),
    ],
)
def test_what_is_as_before(then: Callable[[State], State], nouns: list[str]) -> None:
    """All else was changed by somebody who meant to."""
    state = then(WRITTEN)
    assert [noun(one) for one in reverted(confirmed(STEPS, state, ()), state)] == nouns


def test_what_can_not_be_seen_is_not_dropped() -> None:
    unread = Gap("variables", "*", Reason.UNREADABLE, "the firmware listed no variable at all")
    found = confirmed(STEPS, replace(WRITTEN, variables={}, volumes={}), (unread,))
    assert (found.dropped, len(found.unknown)) == ((), 3)


def test_of_two_writes_to_one_place_the_last_counts() -> None:
    again = WriteOrder((1, 0), (0, 1), "why")
    assert confirmed((*STEPS, again), again.after(WRITTEN), ()).dropped == ()
