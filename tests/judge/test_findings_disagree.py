"""Volumes of the running system that should be one: told where updates go astray, not of what is usual."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.disk import XBOOTLDR, Content
from bootwatch.model.past import Past
from bootwatch.model.snapshot import State
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from bootwatch.model.volume import File
from tests.judge.installed import entry
from tests.judge.scenes import RELEASE, found, told, volume_gap
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    STICK,
    TARN_PART,
    VIRTIO,
    disk,
    program,
    state,
)

HALL, ATTIC = disk("hall", FERNWICK_PART, TARN_PART), disk("attic", QUARRY_PART, address=VIRTIO.format(5, 5))
ONE, TWO, OTHER = f"gpt:{FERNWICK_PART}", f"gpt:{TARN_PART}", f"gpt:{QUARRY_PART}"
TO_ONE = entry("Fernwick Linux", FERNWICK_PART, FERNWICK)
TO_TWO = entry("Fernwick Linux", TARN_PART, FERNWICK)
TO_QUARRY = entry("Quarry", QUARRY_PART, QUARRY)
OLD, NEW = {FERNWICK: program("old")}, {FERNWICK: program("new")}
FOLDED = FERNWICK.upper()


def machine(
    one: Mapping[str, File] = OLD,
    two: Mapping[str, File] = NEW,
    *,
    entries: Mapping[int, bytes] | None = None,
    fstab: Mapping[str, str] | None = None,
    attic: Mapping[str, File] | None = None,
) -> State:
    """Fernwick Linux on two ESPs of one disk, Quarry on another; ``fstab`` by folder."""
    known = {0: TO_ONE, 1: TO_QUARRY} if entries is None else entries
    lines = [
        {"source": f"PARTUUID={part}", "target": folder, "type": "vfat", "options": "defaults"}
        for folder, part in ({"/boot/efi": TARN_PART} if fstab is None else fstab).items()
    ]
    volumes = [(HALL, 1, one), (HALL, 2, two), (ATTIC, 1, attic or {QUARRY: program("quarry")})]
    return state(volumes, entries=known, order=tuple(known), system=RELEASE, fstab=lines)


def current(number: int) -> dict[str, Any]:
    return {"variables": {key("BootCurrent"): Variable(6, number.to_bytes(2, "little"))}}


def loaded_from(part: str) -> dict[str, Variable]:
    data = (part + "\0").encode("utf-16-le")
    return {key("LoaderDevicePartUUID", LOADER_INTERFACE): Variable(6, data)}


DISAGREE = [("volumes-disagree", "weakened")]
SAME_AS_ONE = {"/boot/efi": FERNWICK_PART}


def test_updates_go_to_another_volume_than_the_entry_names() -> None:
    one = found(machine(), mounts={TWO: "/boot/efi"}, **current(0))[0]
    assert (one.finding, one.level.value, one.system) == ("volumes-disagree", "weakened", "Fernwick Linux")
    assert one.what == (
        "the boot volume that Fernwick Linux was started from and the one that is mounted on /boot/efi"
    )
    assert one.where == (
        f"fstab for /boot/efi: {TWO}; mounted on /boot/efi: {TWO}; entry Boot0000: {ONE}; "
        f"used at this start: {ONE}"
    )


def test_started_by_another_system_the_entry_says_where_it_starts_from() -> None:
    """By content and name the running system is known, and its own entry is in the order."""
    held = machine(two={"\\EFI\\tools\\x.efi": program("x")})
    one = found(held, mounts={TWO: "/boot/efi"}, **current(1))[0]
    assert one.what == (
        "the boot volume that the entry Boot0000 of Fernwick Linux names"
        " and the one that is mounted on /boot/efi"
    )


def test_fstab_says_where_updates_go_when_nothing_is_mounted() -> None:
    assert told(machine(), **current(0)) == DISAGREE


def test_one_volume_for_everything() -> None:
    held = machine(two={}, fstab=SAME_AS_ONE)
    assert told(held, mounts={ONE: "/boot/efi"}, **current(0)) == []


def test_another_volume_is_mounted_than_fstab_names() -> None:
    one = found(machine(fstab=SAME_AS_ONE), mounts={TWO: "/boot/efi"}, **current(0))[0]
    assert one.what == (
        "the boot volume that fstab names for /boot/efi and the one that is mounted on /boot/efi"
    )


def test_a_mirror_that_is_in_step() -> None:
    """Whichever of both is mounted, named by an entry, or started from."""
    held = machine(NEW, NEW, entries={0: TO_ONE, 2: TO_TWO, 1: TO_QUARRY})
    for number in (0, 2):
        assert told(held, mounts={TWO: "/boot/efi"}, **current(number)) == []
    both = machine(NEW, NEW, fstab={"/boot/efi": FERNWICK_PART, "/boot/efi2": TARN_PART})
    assert told(both, mounts={ONE: "/boot/efi", TWO: "/boot/efi2"}, **current(0)) == []


def test_a_mirror_that_fell_behind() -> None:
    """Both are mounted, so only the history says which one is newer: by its count, never by a clock."""
    before = machine(OLD, OLD, entries={0: TO_ONE, 2: TO_TWO})
    both = machine(fstab={"/boot/efi": FERNWICK_PART, "/boot/efi2": TARN_PART})
    more = {"mounts": {ONE: "/boot/efi", TWO: "/boot/efi2"}, "before": before, **current(0)}
    one = found(both, past=Past(changed_in={(TWO, FOLDED): 9, (ONE, FOLDED): 4}), **more)[0]
    assert one.what.endswith("and the one that holds the newest loader of Fernwick Linux")
    assert f"newest loader: {TWO}" in one.where
    assert told(both, past=Past(changed_in={(TWO, FOLDED): 4, (ONE, FOLDED): 9}), **more) == []
    assert told(both, **more) == []


def test_another_installation_by_the_same_name_is_no_newer_loader() -> None:
    """Its folder is called the same, and its updates are its own."""
    theirs = entry("Fernwick Linux Test", TARN_PART, FERNWICK)
    held = machine(entries={0: TO_ONE, 3: theirs, 1: TO_QUARRY}, fstab=SAME_AS_ONE)
    past = Past(changed_in={(TWO, FOLDED): 9})
    assert told(held, past=past, mounts={ONE: "/boot/efi"}, **current(0)) == []


def test_the_kernels_beside_an_esp() -> None:
    """On /boot lies ext4, or an extended boot volume; the ESP is mounted below it or not at all."""
    kernels = machine(two={"\\fernwick\\linux": program("linux")}, fstab={"/boot": TARN_PART})
    parts = tuple(replace(part, type=XBOOTLDR) if part.number == 2 else part for part in HALL.partitions)
    held = replace(
        kernels,
        disks={**kernels.disks, HALL.key: replace(HALL, partitions=parts)},
        volumes={**kernels.volumes, TWO: replace(kernels.volumes[TWO], type=XBOOTLDR)},
    )
    assert told(held, mounts={TWO: "/boot"}, **current(0)) == []
    assert told(held, mounts={TWO: "/boot", ONE: "/efi"}, **current(0)) == []
    ext4 = machine(two={}, fstab={"/boot": "0b9c1d1e-5f7a-4c1b-8e55-7d3f2a6b9c10", **SAME_AS_ONE})
    cellar = disk("cellar", "0b9c1d1e-5f7a-4c1b-8e55-7d3f2a6b9c10", address=VIRTIO.format(6, 6))
    root = replace(cellar, partitions=(replace(cellar.partitions[0], content=Content("ext4", "x")),))
    held = replace(ext4, disks={**ext4.disks, root.key: root})
    assert told(held, mounts={ONE: "/boot/efi"}, **current(0)) == []


def test_started_through_the_menu_of_another_system() -> None:
    held = machine(two={}, fstab=SAME_AS_ONE)
    assert told(held, mounts={ONE: "/boot/efi"}, **current(1)) == []
    by_menu = {"variables": loaded_from(QUARRY_PART)}
    assert told(held, mounts={ONE: "/boot/efi"}, **by_menu) == []


def test_started_from_a_stick() -> None:
    part = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
    stick = disk("stick", part, address=STICK.format(1), removable=True)
    held = machine(NEW, {}, fstab=SAME_AS_ONE)
    with_stick = state([(stick, 1, {FERNWICK: program("stick"), DEFAULT: program("stick")})])
    held = replace(
        held,
        disks={**held.disks, **with_stick.disks},
        volumes={**held.volumes, **with_stick.volumes},
    )
    ran = (Attempt(Origin(f"gpt:{part}", DEFAULT)),)
    assert told(held, mounts={ONE: "/boot/efi"}, attempts=ran) == []
    # Nor is what is newer there, or mounted for a while.
    past = Past(changed_in={(f"gpt:{part}", FOLDED): 9})
    assert told(held, past=past, mounts={ONE: "/boot/efi"}, **current(0)) == []


def test_it_was_started_from_a_volume_that_no_entry_names() -> None:
    """The firmware's own log says so; the number in BootCurrent alone would be the entry's."""
    before = machine(OLD, OLD, entries={0: TO_ONE, 2: TO_TWO})
    held = machine(fstab={"/boot/efi": FERNWICK_PART, "/boot/efi2": TARN_PART}, entries={0: TO_ONE})
    ran = (Attempt(Origin(TWO, FERNWICK)),)
    one = found(held, before=before, attempts=ran)[0]
    assert one.what == (
        "the boot volume that the entry Boot0000 of Fernwick Linux names"
        " and the one that Fernwick Linux was started from"
    )
    assert told(machine(NEW, NEW, fstab=SAME_AS_ONE), attempts=ran) == []


def test_a_copy_of_its_loader_as_the_default_file_of_another_disk() -> None:
    attic = {QUARRY: program("quarry"), DEFAULT: program("new")}
    held = machine(NEW, {}, fstab=SAME_AS_ONE, attic=attic)
    ran = (Attempt(Origin(OTHER, DEFAULT)),)
    assert told(held, mounts={ONE: "/boot/efi"}, attempts=ran) == []


@pytest.mark.parametrize("gap", [volume_gap(ONE, FERNWICK), volume_gap(TWO, "\\EFI")])
def test_what_could_not_be_read_disagrees_with_nothing(gap: Any) -> None:
    assert told(machine(), gaps=(gap,), mounts={TWO: "/boot/efi"}, **current(0)) == []


def test_the_running_system_is_not_known() -> None:
    assert told(machine(), mounts={TWO: "/boot/efi"}) == []


def test_a_volume_that_comes_and_goes_has_no_say() -> None:
    assert (
        told(machine(), past=Past(restless=frozenset({TWO})), mounts={TWO: "/boot/efi"}, **current(0)) == []
    )
