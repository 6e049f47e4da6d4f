"""Whether people's files are where they were."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.judge.intact import files_untouched
from bootwatch.model.disk import ESP, Content, Disk, Partition
from bootwatch.model.snapshot import State

ROOT, HOME, SWAP = "gpt:0000-root", "gpt:0000-home", "gpt:0000-swap"


def partition(number: int, identifier: str, content: Content | None, kind: str = "linux") -> Partition:
    return Partition(number, identifier, kind, number * 1000, number * 1000 + 999, content=content)


PARTITIONS = (
    partition(1, "gpt:0000-esp", Content("vfat", "AAAA-0001"), ESP),
    partition(2, ROOT, Content("ext4", "11")),
    partition(3, HOME, Content("crypto_LUKS", "22")),
    partition(4, SWAP, Content("swap", "33")),
)


def machine(*partitions: Partition, removable: bool = False) -> State:
    made = Disk("gpt:disk", "gpt", "pci", 10**9, 512, removable, "Disk", {}, partitions)
    return State(disks={made.key: made})


BEFORE = machine(*PARTITIONS)


def changed(which: int, /, **values: object) -> State:
    return machine(*(replace(one, **values) if one.number == which else one for one in PARTITIONS))  # type: ignore[arg-type]


def without(number: int) -> State:
    return machine(*(one for one in PARTITIONS if one.number != number))


@pytest.mark.parametrize(
    ("what", "now", "untouched"),
    [
        ("nothing", BEFORE, True),
        ("the ESP is made anew", changed(1, identifier="gpt:other", content=Content("vfat", "B")), True),
        ("swap is made anew", changed(4, content=Content("swap", "44")), True),
        ("a number", changed(2, number=7), True),
        ("a type", changed(3, type="other"), True),
        ("a partition is gone", without(3), False),
        ("a file system is made anew", changed(2, content=Content("ext4", "99")), False),
        ("a partition is shorter", changed(2, last_lba=2500), False),
        ("a partition is empty", changed(2, content=Content("empty")), False),
        ("a partition can't be read", changed(3, content=Content("unreadable")), None),
        ("what one holds isn't recognized", changed(3, content=Content("unknown")), None),
        ("what one holds wasn't recorded", changed(3, content=None), None),
        ("the disk is gone", State(), None),
    ],
)
def test_files_untouched(what: str, now: State, untouched: bool | None) -> None:
    assert files_untouched(BEFORE, now) is untouched, what


def test_damaged_table_tells_nothing() -> None:
    (disk,) = BEFORE.disks.values()
    assert files_untouched(BEFORE, State(disks={disk.key: replace(disk, problems=("no header",))})) is None


def test_what_lies_on_a_stick_doesnt_count() -> None:
    assert files_untouched(machine(*PARTITIONS, removable=True), BEFORE) is None
