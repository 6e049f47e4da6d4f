"""The order of a restore's steps: what may start is taken care of like what does."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge import altered
from bootwatch.judge.systems import Systems
from bootwatch.recover.harmless import in_harmless_order
from bootwatch.recover.steps import WriteEntry
from tests.judge.dual import TO_QUARRY
from tests.judge.paths import drive, file, option
from tests.judge.states import FERNWICK_PART, QUARRY, program
from tests.recover.plans import ON_QUARRY, whole

TO_NOTHING = option("Quarry", drive(FERNWICK_PART), file("\\gone.efi"))
STEP = WriteEntry(1, TO_NOTHING, "Quarry", TO_QUARRY, "why")


def test_step_that_would_end_what_may_start() -> None:
    """Quarry's loader is there and can't be read."""
    unread = replace(program("quarry"), path=QUARRY, sha256=None, program=None)
    now = altered.with_copy(whole(), ON_QUARRY, unread, QUARRY)
    assert in_harmless_order(now, (), Systems.learn((whole(),)), [STEP]) == ([], [STEP])


def test_step_that_ends_nothing() -> None:
    now = altered.without_file(whole(), ON_QUARRY, QUARRY)
    assert in_harmless_order(now, (), Systems.learn((whole(),)), [STEP]) == ([STEP], [])
