"""What is wrong with volumes: marks, identifiers, room, guests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from bootwatch.model.disk import Disk
from bootwatch.model.past import Past
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.installed import entry
from tests.judge.scenes import found, told
from tests.judge.states import (
    DEFAULT,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    STICK,
    VIRTIO,
    disk,
    program,
    replace_identity,
    state,
    text,
    volume,
    with_type,
)

HERE, THERE = f"gpt:{FERNWICK_PART}", f"gpt:{QUARRY_PART}"
DATA = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"
STICK_PART = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
A_STICK = disk("stick", STICK_PART, address=STICK.format(1), removable=True)
ON_STICK = {DEFAULT: program("installer")}
USUAL = [(HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)]


def usual() -> State:
    return state(USUAL, entries=ENTRIES, order=(0, 1))


def beside(held: State, on: Disk, files: Mapping[str, File]) -> State:
    """The machine with one more disk, and a volume in its first partition."""
    one = volume(on, 1, files)
    identity = one.identity if one.identity not in held.volumes else f"{one.identity}@{on.address}"
    return replace(
        held,
        disks={**held.disks, on.key: on},
        volumes={**held.volumes, identity: replace_identity(one, identity)},
    )


def test_nothing_is_wrong_with_the_usual_machine() -> None:
    assert told(usual()) == []


# marks


def test_a_volume_that_is_not_marked() -> None:
    cellar = with_type(disk("cellar", STICK_PART, address=VIRTIO.format(6, 6)), DATA)
    held = beside(usual(), cellar, ON_STICK)
    assert told(held) == [("volume-not-esp", "weakened")]
    assert told(held, past=Past(restless=frozenset({f"gpt:{STICK_PART}"}))) == [("volume-not-esp", "changed")]


def test_a_stick_needs_no_mark() -> None:
    assert told(beside(usual(), with_type(A_STICK, DATA), ON_STICK)) == []


# identifiers


def test_a_copy_of_an_installed_disk() -> None:
    copy = replace(ATTIC, key=f"{ATTIC.key}@x", address=STICK.format(1), removable=True)
    held = replace(beside(usual(), copy, ON_ATTIC))
    assert told(held) == [("same-identifiers", "weakened")] * 2  # the disk and its partition


def test_two_sticks_made_of_one_image() -> None:
    other = replace(A_STICK, key=f"{A_STICK.key}@x", address=STICK.format(2))
    held = beside(beside(usual(), A_STICK, ON_STICK), other, ON_STICK)
    assert told(held) == [("same-identifiers", "changed")] * 2


# room


def test_no_room_for_the_largest_file_once_more() -> None:
    held = state([(HALL, 1, {**ON_HALL, "\\EFI\\fernwick\\image.efi": program("image", size=900_000)})])
    one = found(held, free_bytes={HERE: 899_999})[0]
    assert (one.finding, one.level.value) == ("volume-nearly-full", "changed")
    assert one.where == f"{HERE}, 0.9 MB free, 0.9 MB needed"
    assert told(held, free_bytes={HERE: 900_000}) == []


def test_hardly_any_room_though_the_files_are_small() -> None:
    """A fiftieth of a volume of 4 MiB is 83,886 bytes."""
    assert told(usual(), free_bytes={HERE: 83_000}) == [("volume-nearly-full", "changed")]
    assert told(usual(), free_bytes={HERE: 84_000}) == []


def test_a_large_file_that_no_update_replaces() -> None:
    held = state([(HALL, 1, {**ON_HALL, "\\rescue\\image.bin": text(size=3_000_000)})])
    assert told(held, free_bytes={HERE: 900_000}) == []


def test_how_full_a_stick_is_matters_to_nobody() -> None:
    held = beside(usual(), A_STICK, ON_STICK)
    assert told(held, free_bytes={f"gpt:{STICK_PART}": 0}) == []


# guests


GUEST = {**ON_HALL, QUARRY: program("newer quarry")}
ENTRY_FOR_GUEST = entry("Quarry", FERNWICK_PART, QUARRY)


def shared(hall: Mapping[str, File], attic: Mapping[str, File]) -> State:
    return state(
        [(HALL, 1, hall), (ATTIC, 1, attic)], entries={**ENTRIES, 2: ENTRY_FOR_GUEST}, order=(0, 1, 2)
    )


def test_a_guest_that_has_a_volume_of_its_own() -> None:
    before = usual()
    held = shared(GUEST, ON_ATTIC)
    assert [(one.finding, one.level.value) for one in found(held, before=before)] == [
        ("loaders-share-volume", "changed")
    ]
    one = found(held, before=before)[0]
    assert one.where.startswith(f"{HERE}: Fernwick Linux, Quarry")
    assert THERE in one.where


def test_one_esp_for_all_systems_is_usual() -> None:
    entries = {0: ENTRIES[0], 1: ENTRY_FOR_GUEST}
    held = state([(HALL, 1, {**ON_HALL, **ON_ATTIC}), (ATTIC, 1, {})], entries=entries, order=(0, 1))
    assert told(held) == []


@pytest.mark.parametrize("attic", [{**ON_HALL, **ON_ATTIC}, ON_ATTIC, ON_HALL], ids=["both", "one", "other"])
def test_a_mirror_is_usual(attic: Mapping[str, File]) -> None:
    both = {**ON_HALL, **ON_ATTIC}
    entries = {0: ENTRIES[0], 1: ENTRY_FOR_GUEST}
    held = state([(HALL, 1, both), (ATTIC, 1, attic)], entries=entries, order=(0, 1))
    assert told(held) == []


def test_a_stick_with_loaders_of_many_is_usual() -> None:
    entries = {**ENTRIES, 5: entry("Quarry", STICK_PART, QUARRY)}
    held = beside(state(USUAL, entries=entries, order=(0, 1, 5)), A_STICK, {**ON_HALL, **GUEST})
    assert told(held) == []


def test_a_drive_on_usb_that_nobody_made_an_entry_for() -> None:
    """It calls itself fixed, as such drives do."""
    dock = with_type(replace(A_STICK, removable=False), DATA)
    held = beside(usual(), dock, {"\\EFI\\tools\\x.efi": program("x")})
    assert told(held, free_bytes={f"gpt:{STICK_PART}": 0}) == [("volume-not-esp", "changed")]
