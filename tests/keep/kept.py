"""A snapshot in a file, written down by hand."""

from __future__ import annotations

import copy
from typing import Any

from bootwatch.keep.snapshot_file import Kept
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from tests.judge.states import FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, disk, program, state, text
from tests.roots import load_option

HALL = "5d8f0f6ce1c84a0a9f0a7a6a33c0f6b1"
KITCHEN = "0c1e5b7a9d2f4e6881a3b5c7d9e0f213"
TIME = "2026-11-25T07:12:05Z"


def hall_state(quarry: str = "quarry 1", machine_id: str = HALL, host_name: str = "hall") -> State:
    """Fernwick Linux and Quarry, each on a disk of its own; ``quarry`` stands for its loader's content."""
    first, second = (
        disk("first", FERNWICK_PART),
        disk("second", QUARRY_PART, address="pci0000:00/0000:00:05.0"),
    )
    return state(
        [
            (first, 1, {FERNWICK: program("fernwick 1"), "\\EFI\\fernwick\\settings.conf": text()}),
            (second, 1, {QUARRY: program(quarry)}),
        ],
        entries={
            0: load_option("Fernwick Linux", FERNWICK_PART, FERNWICK),
            1: load_option("Quarry", QUARRY_PART, QUARRY),
        },
        order=(0, 1),
        machine_id=machine_id,
        host_name=host_name,
    )


def kept(state: State | None = None, *, machine: str = "hall", number: int | None = 3) -> Kept:
    gap = Gap("volume", f"gpt:{QUARRY_PART}", Reason.UNREADABLE, "I/O error", "\\EFI\\quarry\\store")
    circumstance = Circumstance("2f6c1f0e-1111-4c1b-9a55-0f6a7d1c2e01", Moment.BOOT, TIME)
    return Kept(machine, Snapshot(circumstance, state or hall_state(), (gap,), number))


def document() -> dict[str, Any]:
    """What such a file holds; to be edited at will."""
    return copy.deepcopy(kept().to_json())
