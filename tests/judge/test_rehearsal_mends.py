"""Single points of a start, and what would remove them."""

from __future__ import annotations

from bootwatch.judge.losses import Kind
from bootwatch.judge.rehearsed import Effect
from tests.judge.dual import ON_ATTIC, ON_HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.paths import drive, file, option
from tests.judge.rehearsals import HALL, after, machine, of, points, rehearsed, usual, with_menu
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    QUARRY,
    QUARRY_PART,
    TARN_PART,
    VIRTIO,
    disk,
    program,
    state,
)


def test_single_points_worst_first() -> None:
    found = of(usual(), "Fernwick Linux").points
    assert [effect for _, effect in found] == sorted((effect for _, effect in found), key=lambda e: e.rank)
    assert points(usual(), "Fernwick Linux") == {
        ("folder", "the folder \\EFI on the boot volume of Fernwick Linux", "no longer starts"),
        ("volume", "the boot volume of Fernwick Linux", "no longer starts"),
        ("disk", "the disk gpt:hall", "no longer starts"),
        ("entry", 'the entry "Fernwick Linux" (Boot0000)', "no longer starts next"),
        ("file", f"the file {FERNWICK} on the boot volume of Fernwick Linux", "no longer starts next"),
        (
            "folder",
            "the folder \\EFI\\fernwick on the boot volume of Fernwick Linux",
            "no longer starts next",
        ),
        (
            "order-first",
            "an update of Quarry that puts Quarry first in the boot order",
            "no longer starts next",
        ),
    }
    quarry = points(usual(), "Quarry")
    assert ("boot-order", "the boot order", "only on request") in quarry
    assert (
        "all-entries",
        "all entries and their order, as by a firmware reset",
        "no longer starts",
    ) in quarry


def test_a_default_file_of_its_own_removes_what_it_can() -> None:
    found = usual()
    kinds = {loss.number: loss.loss.kind for loss in found.losses}
    remedies = {remedy.mend.sort.value: remedy for remedy in of(found, "Quarry").remedies}
    own = remedies["default-file"]
    assert own.mend.what == f"put a copy of {QUARRY} at {DEFAULT} on the boot volume of Quarry"
    assert {kinds[number] for number in own.removes} == {
        Kind.ENTRY,
        Kind.FILE,
        Kind.FOLDER,
        Kind.ORDER,
        Kind.ALL_ENTRIES,
    }
    left = {kinds[number] for number, _ in of(found, "Quarry").points} - {kinds[n] for n in own.removes}
    assert left == {Kind.VOLUME, Kind.DISK}


def test_a_copy_on_the_other_disk_removes_the_rest() -> None:
    found = usual()
    copy = next(one for one in of(found, "Quarry").remedies if one.mend.sort.value == "copy-on-other-volume")
    kinds = {loss.number: loss.loss.kind for loss in found.losses}
    assert Kind.VOLUME in {kinds[number] for number in copy.removes}
    assert [kinds[number] for number in copy.if_elsewhere] == [Kind.DISK], "Quarry itself may lie there too"
    assert "on the boot volume of Fernwick Linux" in copy.mend.what
    assert of(found, "Quarry").remain == ()


def test_a_mend_that_doesn_t_help_is_not_named() -> None:
    """The first volume's default file is what the firmware takes on that disk; one on the second helps nobody
    after a reset."""
    tarn = "\\EFI\\tarn\\rescuex64.efi"
    to_tarn = option("Tarn Rescue", drive(TARN_PART, 2, 10240), file(tarn))
    one = machine(
        entries={0: TO_FERNWICK, 1: TO_QUARRY, 2: to_tarn},
        order=(0, 1, 2),
        more=((HALL, 2, {tarn: program("tarn")}),),
    )
    found = rehearsed(one)
    reset = after(found, Kind.ALL_ENTRIES).number
    remedies = of(found, "Tarn Rescue").remedies
    assert remedies and all(reset not in remedy.removes for remedy in remedies)
    assert (reset, Effect.NOT_AT_ALL) in of(found, "Tarn Rescue").remain


def test_what_an_update_does_can_t_be_removed() -> None:
    found = usual()
    first = after(found, Kind.ORDER_FIRST).number
    assert of(found, "Fernwick Linux").remain == ((first, Effect.INSTEAD),)


def test_an_entry_that_is_switched_off_is_no_help_until_it_is_on() -> None:
    off = option("Quarry", drive(QUARRY_PART), file("\\EFI\\quarry\\second.efi"), attributes=0)
    attic = {**ON_ATTIC, "\\EFI\\quarry\\second.efi": program("second")}
    found = rehearsed(machine(attic=attic, entries={0: TO_FERNWICK, 1: TO_QUARRY, 5: off}))
    first = of(found, "Quarry").remedies[0]
    assert first.mend.what == 'switch on and put into the boot order the entry "Quarry" (Boot0005)'
    entry = after(found, Kind.ENTRY, "Boot0001")
    assert entry.effects[of(found, "Quarry").outlook.system.key] is Effect.ON_REQUEST
    assert entry.number in first.removes


def test_a_default_file_that_would_take_another_s_place_says_so() -> None:
    """After a reset Fernwick Linux starts from the second disk's default file. One on the first disk, for
    Quarry, would then come before it."""
    one = state(
        ((ATTIC_FIRST, 1, ON_ATTIC), (HALL, 1, ON_HALL)),
        entries={0: TO_FERNWICK, 1: TO_QUARRY},
        order=(0, 1),
    )
    found = rehearsed(one)
    reset = after(found, Kind.ALL_ENTRIES)
    assert reset.heard is True
    own = next(one for one in of(found, "Quarry").remedies if one.mend.sort.value == "default-file")
    # Which of two equal disks the firmware takes isn't certain, so nothing is claimed of what starts next.
    assert own.costs == ()
    assert reset.number in own.removes


ATTIC_FIRST = disk("attic", QUARRY_PART, address=VIRTIO.format(3, 3))


def test_of_two_mends_that_help_alike_the_one_of_less_effort_is_named() -> None:
    """Firmware has been seen to remove a second entry for the same file."""
    sorts = [remedy.mend.sort.value for remedy in of(with_menu(), "Fernwick Linux").remedies]
    assert "entry" in sorts and "second-entry" not in sorts
