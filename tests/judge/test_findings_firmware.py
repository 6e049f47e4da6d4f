"""What is wrong with the order, with entries' names, with the firmware's memory; and updates that wait."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from bootwatch.judge.capsules import waiting_capsules
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from bootwatch.model.volume import File
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL, TO_QUARRY
from tests.judge.installed import entry
from tests.judge.scenes import found, told
from tests.judge.states import FERNWICK_PART, STICK, disk, program, state, text


def machine(
    order: tuple[int, ...] = (0, 1),
    files: Mapping[str, File] | None = None,
    entries: Mapping[int, bytes] | None = None,
    **variables: bytes,
) -> State:
    return state(
        [(HALL, 1, {**ON_HALL, **(files or {})}), (ATTIC, 1, ON_ATTIC)],
        entries={**ENTRIES, **(entries or {})},
        order=order,
        variables=variables,
    )


# the order


def test_a_number_without_a_variable() -> None:
    one = found(machine((0, 7, 1)))[0]
    assert (one.finding, one.level.value, one.what) == (
        "order-without-variable",
        "changed",
        "the entry Boot0007",
    )
    assert one.where == "BootOrder; Boot0007: no variable"


def test_malformed_variables_count_as_none() -> None:
    one = found(machine((0, 7, 1, 9, 9), Boot0007=b"\1\0\0\0"))[0]
    assert one.what == "the entries Boot0007 and Boot0009"
    assert one.where == "BootOrder; Boot0007: malformed, Boot0009: no variable"


@pytest.mark.parametrize("name", ["*", key("Boot0007")])
def test_a_variable_that_could_not_be_read_is_not_missing(name: str) -> None:
    assert told(machine((0, 7, 1)), gaps=(Gap("variables", name, Reason.DENIED, ""),)) == []


def test_a_hostile_order_is_one_finding_of_bounded_length() -> None:
    order = found(machine(tuple(range(5000))))
    assert [one.finding for one in order] == ["order-without-variable"]
    assert order[0].what.endswith("and 4982 more") and len(order[0].where) < 1000


# small letters


def test_an_entry_in_small_letters() -> None:
    one = found(machine(Boot000a=TO_QUARRY))[0]
    assert (one.finding, one.level.value, one.what) == (
        "lower-case-entry",
        "changed",
        'the entry "Quarry" (Boot000a)',
    )


def test_what_only_begins_like_an_entry() -> None:
    held = machine((0, 1, 10), BootNext0=b"", Bootxyzw=b"", Boot00000=b"", Boot000A=TO_QUARRY)
    other = {**held.variables, key("Boot000a", LOADER_INTERFACE): Variable(7, b"")}
    assert told(replace(held, variables=other)) == []


def test_a_hostile_store_is_told_of_in_part() -> None:
    names = (f"Boot00{first}{second}" for first in "abcdef" for second in "abcdef")
    held = machine()
    many = {**held.variables, **{key(name): Variable(7, b"") for name in names}}
    assert told(replace(held, variables=many)) == [("lower-case-entry", "changed")] * 16


# memory


KIB = 1024


@pytest.mark.parametrize(
    ("size", "free", "said"),
    [
        (64 * KIB, 8 * KIB, []),
        (64 * KIB, 8 * KIB - 1, [("store-nearly-full", "changed")]),
        (64 * KIB, KIB - 1, [("store-nearly-full", "weakened")]),
        (16 * KIB, 3 * KIB, []),
        (16 * KIB, KIB, [("store-nearly-full", "changed")]),
        (0, 0, []),
        (None, None, []),
        (64 * KIB, None, []),
    ],
)
def test_room_for_variables(size: int | None, free: int | None, said: list[tuple[str, str]]) -> None:
    assert told(machine(), store_size=size, store_free=free) == said


# updates that wait


STANDARD = "\\EFI\\UpdateCapsule\\board.cap"
BESIDE = {"\\EFI\\maker\\fw\\board.cap": text("capsule"), "\\EFI\\maker\\updatex64.efi": program("updater")}
UPDATER = entry("Updater", FERNWICK_PART, "\\EFI\\maker\\updatex64.efi")
WAITS = [("capsule-waiting", "weakened")]


def bits(number: int) -> bytes:
    return struct.pack("<Q", number)


def told_of_update(held: State) -> list[tuple[str, str]]:
    return [one for one in told(held) if one[0] == "capsule-waiting"]


@pytest.mark.parametrize(
    "more",
    [
        {"files": {STANDARD: text("capsule")}},
        {"files": {STANDARD.upper(): text("capsule")}, "OsIndicationsSupported": bits(5)},
        {"OsIndications": bits(4)},
        {"OsIndications": bits(4), "OsIndicationsSupported": bits(0x45)},
        {"files": BESIDE, "entries": {5: UPDATER}, "BootNext": b"\5\0"},
    ],
    ids=["file", "file and support", "bit", "bit and support", "BootNext to the updater"],
)
def test_an_update_waits(more: dict[str, Any]) -> None:
    assert told_of_update(machine(**more)) == WAITS
    assert waiting_capsules(machine(**more))


@pytest.mark.parametrize(
    "more",
    [
        {"OsIndications": bits(1)},
        {"OsIndications": bits(4), "OsIndicationsSupported": bits(1)},
        {"OsIndications": b"\4"},
        {"files": {STANDARD: text("capsule")}, "OsIndicationsSupported": bits(1)},
        {"files": {STANDARD: text(size=0)}},
        {"files": {"\\EFI\\UpdateCapsules\\x.cap": text()}},
        {"files": BESIDE, "entries": {5: UPDATER}},
        {"files": BESIDE, "entries": {5: UPDATER}, "BootNext": b"\1\0"},
    ],
    ids=[
        "another bit",
        "not supported",
        "malformed",
        "files not supported",
        "empty file",
        "another folder",
        "left beside the updater",
        "BootNext to something else",
    ],
)
def test_nothing_waits(more: dict[str, Any]) -> None:
    assert told_of_update(machine(**more)) == []


def test_what_lies_on_a_stick_does_not_wait() -> None:
    part = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
    stick = disk("stick", part, address=STICK.format(1), removable=True)
    assert told(state([(HALL, 1, ON_HALL), (stick, 1, {STANDARD: text("capsule")})])) == []
