"""Whatever goes wrong on the way to a mailbox: told at least once, and never again once that is on disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.service.faults import FAULTS, Fault, play


def _marks(fault: Fault) -> tuple[pytest.MarkDecorator, ...]:
    return () if fault.quick else (pytest.mark.long,)


@pytest.mark.parametrize(
    "fault", [pytest.param(one, id=one.name.replace(" ", "-"), marks=_marks(one)) for one in FAULTS]
)
def test_a_fault(fault: Fault, tmp_path: Path) -> None:
    found = play(fault, tmp_path)
    assert fault.why in found.why
    assert (found.copies, found.mails) == (fault.copies, fault.mails)
    assert (found.outcome, found.attempts) == (fault.outcome, fault.attempts)
    assert (found.said, found.still) == (fault.said, fault.still)
    is_lost = 0 in found.copies.values()
    assert is_lost == bool(found.still), "what can't be told is shown, and nothing else"
