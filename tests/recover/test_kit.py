"""Recovery kits: names, what they say of themselves, and whose they are."""

from __future__ import annotations

import pytest

from bootwatch.model.disk import Disk, Partition
from bootwatch.model.snapshot import State
from bootwatch.recover.kit_match import match
from bootwatch.recover.kit_names import is_safe_path, safe_name
from bootwatch.recover.table_text import table_text

GUIDS = [f"{number}0c57e3a-6b1d-4f28-9c3a-7d2e8f41b604" for number in range(8)]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("gpt:6d0a41be", "gpt-6d0a41be"),
        ("the hall's PC/2", "the-hall-s-PC-2"),
        ("..", "-"),
        ("aux.efi", "aux.efi-"),
        ("a\nb\x1b[31m", "a-b--31m"),
        ("Boot0001-8be4df61", "Boot0001-8be4df61"),
    ],
)
def test_names_that_any_stick_can_hold(text: str, name: str) -> None:
    assert safe_name(text) == name


@pytest.mark.parametrize(
    "path",
    [
        *(
            "",
            "/etc/passwd",
            "a/../../b",
            "a//b",
            "a\\b",
            "a/CON",
            "a/nul.txt",
            "a/b.",
            "a/b ",
            "a:b",
            "a\nb",
        ),
        *("/".join("x" * 30), "x" * 300),
    ],
)
def test_paths_that_leave_a_kit_or_fit_nowhere(path: str) -> None:
    assert not is_safe_path(path)


def test_paths_that_may_be() -> None:
    assert is_safe_path("volumes/gpt-1f3b/EFI/BOOT/BOOTX64.EFI")
    assert is_safe_path("volumes/gpt-1f3b/EFI/größe/a b+3.efi")


def disk(own: int, *parts: int, **facts: object) -> Disk:
    partitions = tuple(
        Partition(number, f"gpt:{GUIDS[part]}", GUIDS[7], 2048 * number, 2048 * number + 99)
        for number, part in enumerate(parts, 1)
    )
    key = f"gpt:{GUIDS[own]}"
    return Disk(key, "gpt", "pci", 1 << 30, 512, False, "", {}, partitions)


def about(
    disks: list[int], parts: list[int], vendor: str = "Maker", product: str = "PC 1"
) -> dict[str, object]:
    return {
        "disks": [f"gpt:{GUIDS[one]}" for one in disks],
        "partitions": [f"gpt:{GUIDS[one]}" for one in parts],
        "dmi": {"vendor": vendor, "product": product},
    }


def here(*disks: Disk, vendor: str | None = "Maker", product: str | None = "PC 1") -> State:
    return State(disks={one.key: one for one in disks}, facts={"vendor": vendor, "product": product})


@pytest.mark.parametrize(
    ("now", "points", "is_sure"),
    [
        (here(disk(0, 1, 2), disk(3, 4, 5)), 100, True),
        # a board of another make; one disk replaced; both at once
        (here(disk(0, 1, 2), disk(3, 4, 5), product="PC 2"), 80, True),
        (here(disk(0, 1, 2)), 60, True),
        (here(disk(0, 1, 2), vendor="Other"), 40, False),
        # firmware that says nothing of itself counts for nothing
        (here(disk(0, 1, 2), disk(3, 4, 5), vendor=None), 100, True),
        # the neighbour's machine of the same make
        (here(disk(6, 7)), 20, False),
        (State(), 0, False),
    ],
)
def test_whose_kit_it_is(now: State, points: int, is_sure: bool) -> None:
    found = match(about([0, 3], [1, 2, 4, 5]), now)
    assert (found.points, found.is_sure) == (points, is_sure)


def test_only_the_make_in_common_is_no_match_at_all() -> None:
    assert not match(about([0], [1]), here(disk(6, 7))).is_possible
    assert match(about([0], [1]), here(disk(6, 1))).is_possible


def test_disks_without_a_table_have_none() -> None:
    assert table_text(Disk("at:pci", "none", "pci", 1 << 30, 512, False, "", {}, ())) is None
