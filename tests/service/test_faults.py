"""Whatever goes wrong on the way to a mailbox: told at least once, and never again once that is on disk."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.service.delivering import World
from tests.service.faults import FAULTS, Fault, play
from tests.tell.samples import message


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


@pytest.mark.whole
@pytest.mark.parametrize("number", range(1, 9))
@pytest.mark.parametrize("side", ["before", "after"])
def test_wherever_the_power_is_cut_nothing_is_lost_and_nothing_receipted_comes_again(
    tmp_path: Path, side: str, number: int
) -> None:
    """Two messages for two addresses: eight receipts, one before and one after each delivery."""
    with World(tmp_path) as world:
        world.tell("Anna", "Ben")
        world.spool(message(identity="a", snapshot=5))
        world.spool(message(identity="b", snapshot=6))
        world.go_up()
        world.run_and_cut_power(side, number)
        receipted = sum(one.outcome == "delivered" for one in world.receipts())
        world.run()
        world.run_until_done()
        world.later(days=1)
        world.run_until_done()
        copies = Counter((str(mail["To"]), str(mail["Message-ID"])) for mail in world.handler.mails)
    assert len(copies) == 4 and set(copies.values()) <= {1, 2}
    assert sum(copies.values()) <= 8 - receipted, "what had its receipt came again"
