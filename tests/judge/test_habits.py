"""What happened to entries and their order from one start to the next."""

from __future__ import annotations

import uuid
from dataclasses import replace

import pytest

from bootwatch.judge.habits import Seen, sightings
from bootwatch.model.change import Custody
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.habit import Habit, SeenHabit, Sighting
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL
from tests.judge.states import FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, TARN_PART, disk, state
from tests.roots import load_option

AUTOMATIC_DATA = uuid.UUID("8108ac4e-9f11-4d59-850e-e21a522c59b2").bytes_le  # edk2's mark
FERNWICK_ENTRY = load_option("Fernwick Linux", FERNWICK_PART, FERNWICK)
QUARRY_ENTRY = load_option("Quarry", QUARRY_PART, QUARRY)
TARN_ENTRY = load_option("Tarn Rescue", TARN_PART, "\\EFI\\tarn\\rescuex64.efi")
MADE_ENTRY = load_option("Disk", QUARRY_PART, "", data=AUTOMATIC_DATA)
ENTRIES = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY}
FIRST, SECOND, THIRD = disk("a", FERNWICK_PART), disk("b", QUARRY_PART), disk("c", TARN_PART)


def hall(
    order: tuple[int, ...] = (0, 1), entries: dict[int, bytes] | None = None, without: str = ""
) -> State:
    disks = tuple(one for one in (FIRST, SECOND, THIRD) if one.key != without)
    return state(entries=ENTRIES if entries is None else entries, order=order, disks=disks)


def seen(
    end: State, now: State, begin: State | None = None, gaps: tuple[Gap, ...] = ()
) -> list[tuple[str, str]]:
    found = sightings(Seen(begin) if begin else None, Seen(end), Seen(now, gaps), Custody.ELSEWHERE)
    assert all(one.custody is Custody.ELSEWHERE for one in found)
    return [(one.habit.value, one.what) for one in found]


def test_nothing_happened() -> None:
    assert seen(hall(), hall(), hall()) == []


def test_another_entry_in_front() -> None:
    assert seen(hall((0, 1)), hall((1, 0))) == [
        ("own-choice-first", "Boot0001 (Quarry) in front of Boot0000 (Fernwick Linux)")
    ]


def test_entry_that_the_firmware_made_in_front() -> None:
    assert seen(hall(), hall((5, 0, 1), {**ENTRIES, 5: MADE_ENTRY})) == [
        (
            "own-choice-first",
            "Boot0005 (Disk), which the firmware made itself, in front of Boot0000 (Fernwick Linux)",
        )
    ]


@pytest.mark.parametrize(
    ("order", "entries"),
    [
        ((7, 1), {7: FERNWICK_ENTRY, 1: QUARRY_ENTRY}),
        ((9, 0, 1), ENTRIES),
        ((0, 5, 1), {**ENTRIES, 5: MADE_ENTRY}),
        ((1,), {1: QUARRY_ENTRY}),
        ((1,), ENTRIES),
        ((), ENTRIES),
    ],
    ids=["renumbered", "a dead number", "new one behind", "the first is gone", "not in it", "no order"],
)
def test_first_place_that_nobody_took(order: tuple[int, ...], entries: dict[int, bytes]) -> None:
    assert seen(hall(), hall(order, entries)) == []


def test_order_that_was_set_is_put_back() -> None:
    """And it isn't told a second time as the firmware's own choice."""
    assert seen(hall((1, 0)), hall((0, 1)), hall((0, 1))) == [
        ("drops-edits", "the boot order is as it was before")
    ]


def test_order_that_was_set_and_stays() -> None:
    assert seen(hall((1, 0)), hall((1, 0)), hall((0, 1))) == []


def test_order_is_compared_by_what_its_numbers_mean() -> None:
    made = {**ENTRIES, 5: MADE_ENTRY}
    assert seen(hall((1, 0)), hall((5, 3, 1), {3: FERNWICK_ENTRY, **made}), hall((0, 1))) == [
        ("drops-edits", "the boot order is as it was before")
    ]


def test_new_entry_is_gone() -> None:
    end = hall((2, 0, 1), {**ENTRIES, 2: TARN_ENTRY})
    assert seen(end, hall(), hall()) == [("drops-edits", "Boot0002 (Tarn Rescue), which was new, is gone")]


def test_deleted_entry_is_back() -> None:
    assert seen(hall((0,), {0: FERNWICK_ENTRY}), hall(), hall()) == [
        ("drops-edits", "Boot0001 (Quarry), which was deleted, is back")
    ]


def test_switched_off_entry_is_on_again() -> None:
    off = load_option("Quarry", QUARRY_PART, QUARRY, attributes=0)
    assert seen(hall(entries={0: FERNWICK_ENTRY, 1: off}), hall(), hall()) == [
        ("drops-edits", "Boot0001 (Quarry) is switched on again")
    ]


def test_entry_is_gone_together_with_its_disk() -> None:
    entries = {**ENTRIES, 2: TARN_ENTRY}
    assert seen(hall((0, 1, 2), entries), hall(without=THIRD.key)) == [
        ("deletes-absent", "Boot0002 (Tarn Rescue)")
    ]


def test_new_entry_of_a_disk_that_is_not_there_was_not_dropped() -> None:
    end = hall((0, 1, 2), {**ENTRIES, 2: TARN_ENTRY})
    assert [habit for habit, _ in seen(end, hall(without=THIRD.key), hall())] == ["deletes-absent"]


def test_of_many_the_first_ones_are_named() -> None:
    entries = {number: load_option(f"Tarn {number}", TARN_PART, f"\\{number}.efi") for number in range(2, 9)}
    (found,) = seen(hall(entries={**ENTRIES, **entries}), hall(without=THIRD.key))
    assert (
        found[1] == "Boot0002 (Tarn 2); Boot0003 (Tarn 3); Boot0004 (Tarn 4); Boot0005 (Tarn 5); and 3 more"
    )


def test_entry_that_is_gone_while_its_disk_is_there_is_another_matter() -> None:
    assert seen(hall((0, 1, 2), {**ENTRIES, 2: TARN_ENTRY}), hall()) == []


def test_entries_that_the_firmware_makes_come_and_go() -> None:
    made = {**ENTRIES, 5: MADE_ENTRY}
    assert seen(hall((0, 1, 5), made), hall((0, 1), without=SECOND.key), hall()) == []
    assert seen(hall((0, 1, 5), made), hall(), hall()) == []
    assert seen(hall(), hall((0, 1, 5), made), hall((0, 1, 5), made)) == []


def test_entry_of_a_partition_that_is_gone_from_its_disk_is_another_matter() -> None:
    empty = replace(hall(), disks={**hall().disks, THIRD.key: disk("c")})
    assert seen(hall((0, 1, 2), {**ENTRIES, 2: TARN_ENTRY}), empty) == []


@pytest.mark.parametrize(
    "gap",
    [
        Gap("variables", "*", Reason.UNREADABLE, ""),
        Gap("variables", f"BootOrder-{GLOBAL}", Reason.DENIED, ""),
        Gap("variables", f"Boot0002-{GLOBAL}", Reason.UNREADABLE, ""),
    ],
)
def test_nothing_is_claimed_of_what_could_not_be_read(gap: Gap) -> None:
    assert seen(hall((0, 1, 2), {**ENTRIES, 2: TARN_ENTRY}), hall((1, 0)), hall(), (gap,)) == []


def test_nothing_is_claimed_of_more_entries_than_there_can_be() -> None:
    entries = dict.fromkeys(range(4097), FERNWICK_ENTRY) | {1: QUARRY_ENTRY}
    assert seen(hall((0, 1), entries), hall((1, 0), entries)) == []


def test_unread_disk_is_not_absent() -> None:
    gap = Gap("disk", "vdc", Reason.UNREADABLE, "")
    assert seen(hall((0, 1, 2), {**ENTRIES, 2: TARN_ENTRY}), hall(without=THIRD.key), gaps=(gap,)) == []


def test_custody_is_kept() -> None:
    found = sightings(None, Seen(hall((0, 1))), Seen(hall((1, 0))), Custody.UNKNOWN)
    assert [type(one) for one in found] == [Sighting]
    assert found[0].custody is Custody.UNKNOWN


@pytest.mark.parametrize(
    ("proven", "end"),
    [
        (3, "."),
        (
            1,
            "; a look at the shutdown shows for 1 of them that it was not something in this system,"
            " later than the last look.",
        ),
    ],
)
def test_sentence_claims_what_custody_allows(proven: int, end: str) -> None:
    habit = SeenHabit(Habit.DROPS_EDITS, 3, 42, proven, "2026-11-25T07:12:00Z", 99, "")
    assert habit.sentence == (
        "3 times in 42 restarts the firmware or another system took back what had been set while this system"
        f" ran{end}"
    )
    assert habit.is_habit


def test_once_is_no_habit() -> None:
    assert not SeenHabit(Habit.DROPS_EDITS, 1, 42, 1, "", 9, "").is_habit
