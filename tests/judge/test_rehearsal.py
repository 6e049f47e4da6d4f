"""Single losses on machines written down by hand: who still starts, and what would help."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from bootwatch.judge.losses import Kind
from bootwatch.judge.outlook import How
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Effect, Rehearsal, Rehearsed, SystemRehearsal
from bootwatch.judge.systems import Naming, System, Systems
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.dual import ON_ATTIC, ON_HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.paths import ROOT, drive, file, option, pci
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    IA32,
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


def machine(
    hall: Mapping[str, File] = ON_HALL,
    attic: Mapping[str, File] = ON_ATTIC,
    *,
    entries: Mapping[int, bytes] | None = None,
    order: tuple[int, ...] | None = (0, 1),
    more: states.Volumes = (),
    **variables: bytes,
) -> State:
    volumes = ((HALL, 1, hall), (ATTIC, 1, attic), *more)
    known = {0: TO_FERNWICK, 1: TO_QUARRY} if entries is None else entries
    return state(volumes, entries=known, order=order, variables=variables)


def rehearsed(one: State, gaps: tuple[Gap, ...] = (), home: str | None = "Fernwick Linux") -> Rehearsal:
    systems = Systems.learn([one])
    return rehearse(one, gaps, systems, named(systems, home) if home else None)


def named(systems: Systems, name: str) -> System:
    return next(one for one in systems.all() if one.name == name)


@cache
def usual() -> Rehearsal:
    """Of the usual machine: Fernwick Linux has a default file, Quarry has none."""
    return rehearsed(machine())


def after(found: Rehearsal, kind: Kind, what: str = "") -> Rehearsed:
    """The one loss of a kind whose noun phrase holds ``what``."""
    (loss,) = (one for one in found.losses if one.loss.kind is kind and what in one.loss.what)
    return loss


def of(found: Rehearsal, name: str) -> SystemRehearsal:
    return next(one for one in found.systems if one.outlook.name == name)


def starts(loss: Rehearsed) -> dict[str, str]:
    return {one.name: one.how.value for one in loss.seen.systems}


def points(found: Rehearsal, name: str) -> set[tuple[str, str, str]]:
    """A system's single points, each as kind, noun phrase and effect."""
    losses = {loss.number: loss.loss for loss in found.losses}
    return {
        (losses[number].kind.value, losses[number].what, effect.value)
        for number, effect in of(found, name).points
    }


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


MENU = b'menuentry "Fernwick Linux" {\n  linux /fernwick/kernel ro\n  initrd /fernwick/initrd\n}\n'


@cache
def with_menu() -> Rehearsal:
    """Beside the loader lie settings that lead to a kernel; the default file is the same program."""
    settings = File("", len(MENU), "", hashlib.sha256(MENU).hexdigest())
    kernel = {"\\fernwick\\kernel": program("kernel"), "\\fernwick\\initrd": states.text("initrd", 5000)}
    one = machine({**ON_HALL, "\\EFI\\fernwick\\menu.cfg": settings, **kernel})
    one.texts[settings.sha256 or ""] = MENU
    return rehearsed(one)


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


# single points and what helps


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


def test_of_two_mends_that_help_alike_the_one_of_less_effort_is_named() -> None:
    """Firmware has been seen to remove a second entry for the same file."""
    sorts = [remedy.mend.sort.value for remedy in of(with_menu(), "Fernwick Linux").remedies]
    assert "entry" in sorts and "second-entry" not in sorts
