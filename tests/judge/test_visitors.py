"""What comes and goes, and what the running system starts from, which never does."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge.drift import compare
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot
from tests.judge import states
from tests.judge.dual import ATTIC, ENTRIES, ON_ATTIC, ON_HALL
from tests.judge.states import FERNWICK, FERNWICK_PART

STICK = states.disk("hall", FERNWICK_PART, address=states.STICK.format(1), removable=True)
BEFORE = states.state(((STICK, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
LOST = {path: file for path, file in ON_HALL.items() if path != FERNWICK}
AFTER = states.state(((STICK, 1, LOST), (ATTIC, 1, ON_ATTIC)), entries={1: ENTRIES[1]}, order=(1,))
LOOK = Circumstance("a", Moment.BOOT, "2026-03-01T08:00:00Z")


def worst(now: Circumstance) -> Level | None:
    return compare(BEFORE, (), Snapshot(now, AFTER)).drift.level


def test_losses_on_a_stick_are_routine() -> None:
    assert worst(LOOK) is Level.ROUTINE


def test_losses_on_a_stick_that_the_running_system_is_mounted_from_are_not() -> None:
    mounted = replace(LOOK, mounts={f"gpt:{FERNWICK_PART}": "/boot/efi"})
    assert worst(mounted) is Level.DIVERTED


def test_a_stick_that_is_mounted_to_be_looked_at_is_a_stick() -> None:
    mounted = replace(LOOK, mounts={f"gpt:{FERNWICK_PART}": "/mnt"})
    assert worst(mounted) is Level.ROUTINE
