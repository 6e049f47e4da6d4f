"""Who had the machine: by number and boot id, never by the clock."""

from __future__ import annotations

import pytest

from bootwatch.judge.custody import Look, custody_between
from bootwatch.model.snapshot import Moment


@pytest.mark.parametrize(
    ("last_without", "first_with", "expected"),
    [
        (Look(3, "a", Moment.BOOT), Look(4, "a", Moment.ASKED), "this system"),
        (Look(3, "a", Moment.SHUTDOWN), Look(4, "b", Moment.BOOT), "another system or the firmware"),
        (Look(3, "a", Moment.SHUTDOWN), Look(5, "b", Moment.BOOT), "unknown"),
        (Look(3, "a", Moment.ASKED), Look(4, "b", Moment.BOOT), "unknown"),
        (Look(3, "a", Moment.SHUTDOWN), Look(4, "b", Moment.ASKED), "unknown"),
        (Look(3, "a", Moment.BOOT, 40), Look(4, "a", Moment.ASKED, 40), "this system"),
        # Hibernated: the TPM counted a start, or a look after the resume says so.
        (Look(3, "a", Moment.BOOT, 40), Look(4, "a", Moment.ASKED, 42), "unknown"),
        (Look(3, "a", Moment.BOOT), Look(4, "a", Moment.RESUME), "unknown"),
        (Look(3, None, Moment.ASKED), Look(4, None, Moment.ASKED), "unknown"),
        (Look(3, None, Moment.SHUTDOWN), Look(4, None, Moment.BOOT), "unknown"),
        (Look(3, "a", Moment.SHUTDOWN), Look(4, None, Moment.BOOT), "unknown"),
        # An update that waited for the start was quicker than the look at it.
        (Look(3, "a", Moment.SHUTDOWN), Look(4, "b", Moment.BOOT, worked=True), "unknown"),
        (None, Look(4, "b", Moment.BOOT), "unknown"),
        (Look(3, "a", Moment.ASKED), None, "unknown"),
    ],
)
def test_custody(last_without: Look | None, first_with: Look | None, expected: str) -> None:
    assert custody_between(last_without, first_with).value == expected


def test_machine_that_slept_between_two_looks_of_one_start() -> None:
    looks = (Look(3, "a", Moment.BOOT), Look(5, "a", Moment.ASKED))
    assert custody_between(*looks, between=[Look(4, "a", Moment.RESUME)]).value == "unknown"
    assert custody_between(*looks, between=[Look(4, "a", Moment.WATCH)]).value == "this system"
