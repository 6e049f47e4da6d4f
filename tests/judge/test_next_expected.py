"""Whether the usual system starts next, and where that can't be told."""

from __future__ import annotations

import pytest

from bootwatch.judge.drift import compare
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.states import FERNWICK_PART, state

BOTH = ((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC))
USUAL = state(BOTH, entries=ENTRIES, order=(0, 1))
UNREAD = Gap("volume", f"gpt:{FERNWICK_PART}", Reason.UNREADABLE, "input/output error")
HALL_UNREAD = state(((ATTIC, 1, ON_ATTIC),), entries=ENTRIES, order=(0, 1), disks=(HALL,))


def expected(before: State, now: State, *gaps: Gap, before_gaps: tuple[Gap, ...] = ()) -> bool | None:
    circumstance = Circumstance(boot_id=None, moment=Moment.ASKED, time="2026-03-14T02:00:00Z")
    return compare(before, before_gaps, Snapshot(circumstance, now, gaps)).next_expected


@pytest.mark.parametrize(
    ("now", "found"),
    [
        pytest.param(USUAL, True, id="as-it-was"),
        pytest.param(state(BOTH, entries=ENTRIES, order=(1, 0)), False, id="another-first"),
        pytest.param(
            state(BOTH, entries=ENTRIES, order=(0, 1), variables={"BootNext": b"\x01\x00"}), False, id="once"
        ),
        pytest.param(state((), entries={}, order=()), False, id="nothing-left"),
    ],
)
def test_what_is_known(now: State, found: bool) -> None:
    assert expected(USUAL, now) is found


def test_what_cannot_be_told() -> None:
    assert expected(USUAL, HALL_UNREAD, UNREAD) is None
    assert expected(HALL_UNREAD, USUAL, before_gaps=(UNREAD,)) is None
    no_variables = Gap("variables", "*", Reason.UNREADABLE, "input/output error")
    assert expected(USUAL, state(BOTH), no_variables) is None
