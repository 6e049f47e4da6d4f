"""Single losses on machines written down by hand: who still starts, and what would help."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import pytest

from bootwatch.judge.losses import Kind
from bootwatch.judge.outlook import How
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Effect
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.dual import ON_HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.paths import ROOT, drive, file, option, pci
from tests.judge.rehearsals import HALL, after, machine, named, of, rehearsed, starts, usual, with_menu
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    IA32,
    QUARRY,
    QUARRY_PART,
    STICK,
    VIRTIO,
    disk,
    program,
    state,
)

# losses


def test_each_thing_that_a_start_goes_through_is_lost_once() -> None:
    found = [(one.loss.kind.value, one.loss.what) for one in usual().losses]
    assert found == [
        ("entry", 'the entry "Fernwick Linux" (Boot0000)'),
        ("entry", 'the entry "Quarry" (Boot0001)'),
        ("file", f"the file {FERNWICK} on the boot volume of Fernwick Linux"),
        ("file", f"the file {QUARRY} on the boot volume of Quarry"),
        ("file", f"the file {DEFAULT} on the boot volume of Fernwick Linux"),
        ("folder", "the folder \\EFI\\fernwick on the boot volume of Fernwick Linux"),
        ("folder", "the folder \\EFI on the boot volume of Fernwick Linux"),
        ("folder", "the folder \\EFI\\quarry on the boot volume of Quarry"),
        ("folder", "the folder \\EFI on the boot volume of Quarry"),
        ("folder", "the folder \\EFI\\BOOT on the boot volume of Fernwick Linux"),
        ("volume", "the boot volume of Fernwick Linux"),
        ("volume", "the boot volume of Quarry"),
        ("disk", "the disk gpt:hall"),
        ("disk", "the disk gpt:attic"),
        ("boot-order", "the boot order"),
        ("all-entries", "all entries and their order, as by a firmware reset"),
        ("order-first", "an update of Quarry that puts Quarry first in the boot order"),
        (
            "default-file",
            f"an update of Quarry that makes the default file {DEFAULT} on the boot volume of Quarry its own",
        ),
    ]


def test_what_no_start_goes_through_is_not_rehearsed() -> None:
    dead = option("Attic fan", drive(QUARRY_PART), file("\\EFI\\fan\\gone.efi"))
    one = machine(entries={0: TO_FERNWICK, 1: TO_QUARRY, 2: dead}, order=(2, 0, 1))
    assert not [loss for loss in rehearsed(one).losses if "fan" in loss.loss.what]


def test_a_lost_entry_whose_system_has_its_default_file() -> None:
    loss = after(usual(), Kind.ENTRY, "Fernwick")
    assert starts(loss) == {"Fernwick Linux": "by itself", "Quarry": "by itself"}
    following = loss.seen.next_start
    assert (following.by, following.entry, following.file) == ("BootOrder", "Boot0001", QUARRY)


def test_a_lost_loader() -> None:
    found = usual()
    assert starts(after(found, Kind.FILE, QUARRY))["Quarry"] == "not at all"
    assert starts(after(found, Kind.FILE, FERNWICK))["Fernwick Linux"] == "by itself"


def test_a_lost_volume_and_a_lost_disk() -> None:
    found = usual()
    assert starts(after(found, Kind.VOLUME, "Fernwick")) == {
        "Fernwick Linux": "not at all",
        "Quarry": "by itself",
    }
    assert starts(after(found, Kind.DISK, "attic")) == {"Fernwick Linux": "by itself", "Quarry": "not at all"}


def test_a_lost_order_leaves_entries_to_be_chosen() -> None:
    loss = after(usual(), Kind.ORDER)
    assert starts(loss) == {"Fernwick Linux": "by itself", "Quarry": "on request"}
    assert (loss.seen.next_start.by, loss.seen.next_start.file) == ("fallback", DEFAULT)


def test_a_firmware_reset_leaves_default_files() -> None:
    loss = after(usual(), Kind.ALL_ENTRIES)
    assert starts(loss) == {"Fernwick Linux": "by itself", "Quarry": "not at all"}


def test_an_update_that_puts_itself_first() -> None:
    loss = after(usual(), Kind.ORDER_FIRST)
    assert loss.seen.next_system and loss.seen.next_system.name == "Quarry"
    assert starts(loss) == {"Fernwick Linux": "by itself", "Quarry": "by itself"}


def test_an_update_that_takes_over_the_shared_default_file() -> None:
    """Both lie on one volume; Fernwick Linux has no entry left, so the default file is all it starts by."""
    shared = {**ON_HALL, QUARRY: program("quarry")}
    to_quarry = option("Quarry", drive(FERNWICK_PART), file(QUARRY))
    one = state(((HALL, 1, shared),), entries={0: TO_FERNWICK, 1: to_quarry}, order=(1,))
    found = rehearsed(one)
    loss = after(found, Kind.DEFAULT_FILE, "Quarry")
    assert starts(loss) == {"Fernwick Linux": "on request", "Quarry": "by itself"}
    quarry = loss.seen.by_key[named(Systems.learn([one]), "Quarry").key]
    assert DEFAULT in [route.file for route in quarry.routes]


# beyond the loader


def test_every_file_beyond_the_loader_is_lost_too() -> None:
    assert {route.followed_to for route in of(with_menu(), "Fernwick Linux").outlook.routes} == {"kernel"}
    for path in ("\\fernwick\\kernel", "\\fernwick\\initrd"):
        assert starts(after(with_menu(), Kind.FILE, path))["Fernwick Linux"] == "not at all"
    assert starts(after(with_menu(), Kind.FOLDER, "folder \\fernwick"))["Fernwick Linux"] == "not at all"


def test_a_boot_entry_s_own_file_is_lost_too() -> None:
    """Boot Loader Specification, type 1. Whether the loader has another way then is not known."""
    text = b"title Fernwick Linux\nlinux /fernwick/kernel\n"
    entry = File("", len(text), "", hashlib.sha256(text).hexdigest())
    path = "\\loader\\entries\\fernwick.conf"
    one = machine({FERNWICK: program("fernwick"), path: entry, "\\fernwick\\kernel": program("kernel")})
    one.texts[entry.sha256 or ""] = text
    found = rehearsed(one)
    assert starts(after(found, Kind.FILE, path))["Fernwick Linux"] in ("not known", "not at all")
    assert after(found, Kind.FOLDER, "\\loader\\entries").heard is not True


def test_a_loader_without_its_kernel_starts_next_and_gets_no_further() -> None:
    loss = after(with_menu(), Kind.FILE, "kernel")
    following = loss.to_json()["next_start"]
    assert (following["file"], following["system"]) == (FERNWICK, "Fernwick Linux")
    assert "which gets no further than its loader" in following["what"]
    assert loss.heard is False, "it runs, but the system doesn't come up"
    assert with_menu().heard_now is True


@pytest.mark.parametrize(("kind", "what"), [(Kind.FILE, "menu.cfg"), (Kind.FOLDER, "folder \\EFI\\fernwick")])
def test_without_its_settings_a_loader_alone_proves_nothing(kind: Kind, what: str) -> None:
    loss = after(with_menu(), kind, what)
    assert starts(loss)["Fernwick Linux"] == "not known"
    assert loss.heard is (None if kind is Kind.FILE else False)


def test_a_copy_that_would_not_find_its_kernel_is_not_proposed() -> None:
    """On another volume; where it would find it, its settings and kernel are copied with it."""
    for remedy in of(with_menu(), "Fernwick Linux").remedies:
        if remedy.mend.sort.value == "copy-on-other-volume":
            assert "and of what it needs (3 files)" in remedy.mend.what


# would anyone hear


def test_who_would_hear() -> None:
    found = usual()
    assert found.heard_now is True
    unheard = {one.loss.what for one in found.losses if one.heard is False}
    assert 'the entry "Fernwick Linux" (Boot0000)' in unheard
    assert "an update of Quarry that puts Quarry first in the boot order" in unheard
    assert "the disk gpt:attic" not in unheard
    assert all(one.heard for one in found.losses if one.loss.kind in (Kind.ORDER, Kind.ALL_ENTRIES))


def test_whether_anyone_hears_can_t_be_told_without_knowing_where_bootwatch_runs() -> None:
    assert {one.heard for one in rehearsed(machine(), home=None).losses} == {None}


# what can't be told


def test_a_gap_is_no_loss() -> None:
    gap = Gap("disk", "sdc", Reason.UNREADABLE, "I/O error")
    found = rehearsed(machine(), (gap,))
    assert starts(after(found, Kind.VOLUME, "Quarry"))["Quarry"] == How.UNKNOWN
    assert Effect.NOT_AT_ALL not in [effect for _, effect in of(found, "Quarry").points]
    assert Effect.ON_REQUEST not in [effect for _, effect in of(found, "Quarry").points]


def test_an_unread_file_of_a_route_is_no_loss_either() -> None:
    gap = Gap("volume", f"gpt:{QUARRY_PART}", Reason.UNREADABLE, "I/O error", "\\EFI\\BOOT")
    loss = after(rehearsed(machine(), (gap,)), Kind.FILE, QUARRY)
    assert starts(loss)["Quarry"] == How.UNKNOWN


def test_what_is_asked_for_once_is_left_out() -> None:
    found = rehearsed(machine(BootNext=b"\1\0"))
    assert found.once and found.now.next_system and found.now.next_system.name == "Fernwick Linux"


def test_a_stick_has_no_single_points_but_counts_as_what_starts() -> None:
    stick = disk("stick", "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08", address=STICK.format(1), removable=True)
    one = machine(order=None, more=((stick, 1, {DEFAULT: program("stick")}),))
    found = rehearsed(one)
    assert [system.outlook.name for system in found.systems] == ["Fernwick Linux", "Quarry"]
    assert found.heard_now is False
    assert after(found, Kind.DISK, "stick").heard is True


def test_a_hidden_system_is_left_out() -> None:
    one = machine()
    systems = Systems.learn([one], Naming.of({}, ["Quarry"]))
    found = rehearse(one, (), systems, None)
    assert [system.outlook.name for system in found.systems] == ["Fernwick Linux"]
    assert {item["name"] for loss in found.to_json()["losses"] for item in loss["systems"]} == {
        "Fernwick Linux"
    }


def test_clones_are_lost_one_by_one() -> None:
    """Two disks with the same partitions: the loss of one leaves the other."""
    clone = disk("clone", FERNWICK_PART, address=VIRTIO.format(6, 6))
    one = machine()
    twin = states.replace_identity(states.volume(clone, 1, ON_HALL), f"gpt:{FERNWICK_PART}@{clone.address}")
    one.volumes[twin.identity] = twin
    one.disks[clone.key] = clone
    found = rehearsed(one)
    for name in ("hall", "clone"):
        assert starts(after(found, Kind.DISK, name))["Fernwick Linux"] == "by itself"


def test_a_loader_for_another_machine_is_no_way_out() -> None:
    hall = {FERNWICK: program("fernwick"), DEFAULT: program("old", machine=IA32)}
    found = rehearsed(machine(hall))
    assert starts(after(found, Kind.FILE, FERNWICK))["Fernwick Linux"] == "not at all"


def test_an_entry_for_a_whole_disk_is_a_way_like_others() -> None:
    to_disk = option("", ROOT, pci(4))
    found = rehearsed(machine(entries={0: TO_FERNWICK, 1: TO_QUARRY, 2: to_disk}, order=(0, 2, 1)))
    loss = after(found, Kind.ENTRY, "Fernwick")
    assert (loss.heard, loss.seen.next_start.entry, loss.seen.next_start.file) == (True, "Boot0002", DEFAULT)


# hostile machines


@pytest.mark.parametrize("alike", [True, pytest.param(False, marks=pytest.mark.long)])
def test_too_many_entries_are_left_out_and_said(alike: bool) -> None:
    """Many entries for one loader; or for as many loaders, of which some then go unseen."""
    paths = [FERNWICK if alike else f"\\EFI\\s{number}\\l.efi" for number in range(150)]
    hall = {path: program(path) for path in paths}
    entries = {n: option("Fernwick Linux", drive(FERNWICK_PART), file(path)) for n, path in enumerate(paths)}
    found = rehearsed(machine(hall, entries=entries, order=tuple(range(150))), home=None)
    assert "entries" in found.limits[0] and "left out" in found.limits[0]
    assert len(found.losses) < 400
    if alike:
        volume = after(found, Kind.VOLUME)
        assert starts(volume)["Fernwick Linux"] == "not at all"
    else:
        assert How.NOT_AT_ALL not in {one.how for loss in found.losses for one in loss.seen.systems}


def test_things_of_one_name_are_told_apart() -> None:
    one = machine()
    for key, held in list(one.disks.items()):
        one.disks[key] = replace(held, model="Two of a kind")
    for key, volume in list(one.volumes.items()):
        one.volumes[key] = replace(volume, label="BOOT")
    found = rehearsed(one)
    assert after(found, Kind.DISK, "gpt:attic").loss.what == 'the disk "Two of a kind" (gpt:attic)'
    assert after(found, Kind.VOLUME, QUARRY_PART).loss.what == f'the boot volume "BOOT" (gpt:{QUARRY_PART})'
