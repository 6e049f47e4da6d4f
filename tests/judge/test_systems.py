"""Systems that entries lead to, and what they are called."""

from __future__ import annotations

import pytest

from bootwatch.judge.entries import read_entries
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.installed import (
    ATTIC,
    ATTIC_1,
    FERNWICK_ENTRY,
    FIRMWARE_MARK,
    HALL,
    HALL_1,
    HALL_2,
    ON_ATTIC,
    ON_HALL,
    QUARRY_ENTRY,
    RELEASE,
    STICK,
    STICK_PART,
    entry,
    labelled,
    learnt,
    names,
    program,
    two_systems,
)
from tests.judge.paths import ROOT, SHELL, drive, file, option, pci
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY_PART, TARN_PART, text
from tests.pace import Stopwatch

FALLBACK = "\\EFI\\fernwick\\fallbackx64.efi"


def of_entries(systems: Systems, state: State) -> dict[int, str | None]:
    return {number: systems.of_entry(one, state) for number, one in read_entries(state).items()}


def test_two_systems_on_two_volumes() -> None:
    found = learnt(two_systems())
    assert list(found) == ["Fernwick Linux", "Quarry"]
    fernwick = found["Fernwick Linux"]
    assert fernwick.key == f"{HALL_1}\\EFI\\FERNWICK"
    assert fernwick.volumes == (HALL_1,)
    assert fernwick.folders == ((HALL_1, "\\EFI\\fernwick"),)
    assert (fernwick.also, fernwick.hidden, fernwick.removable) == (("fernwick",), False, False)


def test_two_systems_on_one_volume() -> None:
    entries = {0: FERNWICK_ENTRY, 1: entry("Quarry", FERNWICK_PART, "\\EFI\\quarry\\Boot\\loader.efi")}
    deep = {"\\EFI\\quarry\\Boot\\loader.efi": program("quarry"), "\\EFI\\quarry\\Boot\\store": text()}
    state = two_systems(entries, hall={**ON_HALL, **deep, DEFAULT: program("?")}, attic={})
    systems = Systems.learn((state,))
    assert names(state) == ["Fernwick Linux", "Quarry"]
    assert systems.of_file(HALL_1, "\\efi\\QUARRY\\boot\\store") == "Quarry"
    assert systems.of_file(HALL_1, "\\EFI\\fernwick\\menu.cfg") == "Fernwick Linux"
    assert systems.of_volume(HALL_1) is systems.of_file(HALL_1, DEFAULT) is None
    assert systems.of_file(HALL_1, "\\kernel.img") is None


def test_entries_into_one_folder_are_one_system() -> None:
    entries = {
        3: entry("fernwick (direct)", FERNWICK_PART, "\\EFI\\fernwick\\menux64.efi"),
        4: entry("Firmware updater", FERNWICK_PART, FERNWICK, b"\\updater.efi"),
        5: entry("Fernwick Linux", FERNWICK_PART, FERNWICK),
    }
    found = learnt(two_systems(entries, attic={}))
    assert list(found) == ["fernwick (direct)"]
    assert found["fernwick (direct)"].also == ("Fernwick Linux", "Firmware updater", "fernwick")


@pytest.mark.parametrize(
    ("second", "held", "expected"),
    [
        # another program, and it says that it is another system's
        (entry("Tarn Rescue", FERNWICK_PART, FALLBACK), program("tarn", product="Tarn"), 2),
        (entry("Fernwick Linux again", FERNWICK_PART, FALLBACK), program("tarn", product="Tarn"), 1),
        (entry("Tarn Rescue", FERNWICK_PART, FALLBACK), program("tarn"), 1),
        # one program with other optional data, as kernels are started
        (entry("Tarn Rescue", FERNWICK_PART, FERNWICK, b"root=2"), None, 2),
        (entry("Aspen", FERNWICK_PART, FERNWICK, b"root=2"), None, 2),
        (entry("Fernwick Linux safe", FERNWICK_PART, FERNWICK, b"root=1 safe"), None, 1),
        (entry("Tarn Rescue", FERNWICK_PART, FERNWICK), None, 1),
        (entry("", FERNWICK_PART, FERNWICK, b"root=2"), None, 1),
    ],
)
def test_two_systems_in_one_folder_differ_clearly(second: bytes, held: File | None, expected: int) -> None:
    first = entry("Fernwick Linux", FERNWICK_PART, FERNWICK, b"root=1")
    hall = {FERNWICK: program("fernwick", product="Fernwick")}
    if held:
        hall[FALLBACK] = held
    for entries in ({1: second, 0: first}, {0: first, 1: second}):
        state = two_systems(entries, hall=hall, attic={})
        assert len(names(state)) == expected
        systems = Systems.learn((state,))
        assert len(set(of_entries(systems, state).values())) == expected
        assert (systems.of_file(HALL_1, FERNWICK) or "").startswith("Fernwick Linux")


def test_relabelled_and_changed_at_once_is_still_the_same_system() -> None:
    before = two_systems({0: entry("Fernwick Linux", FERNWICK_PART, FERNWICK, b"root=1")}, attic={})
    now = two_systems({0: entry("Hard drive", FERNWICK_PART, FERNWICK, b"root=1 quiet")}, attic={})
    assert names(before, now) == ["Fernwick Linux"]


def test_the_baselines_label_is_the_name() -> None:
    before = two_systems()
    now = two_systems({0: entry("Hard drive 1", FERNWICK_PART, FERNWICK), 1: QUARRY_ENTRY})
    found = learnt(before, now)
    assert list(found) == ["Fernwick Linux", "Quarry"]
    assert found["Fernwick Linux"].also == ("fernwick", "Hard drive 1")
    assert set(of_entries(Systems.learn((before, now)), now).values()) == {"Fernwick Linux", "Quarry"}


def test_names_in_order_of_trust() -> None:
    loader = program(
        "fernwick", product="Fernwick start", description="Loads Fernwick", os="Fernwick 7 image"
    )
    state = two_systems({0: FERNWICK_ENTRY}, hall={FERNWICK: loader}, attic={}, system=RELEASE)
    found = learnt(state)["Fernwick Linux"]
    assert found.also == ("Fernwick start", "Fernwick 7 image", "Fernwick Linux 7 (Heron)", "fernwick")
    blank = two_systems(
        {0: entry(" \t", FERNWICK_PART, FERNWICK)}, hall={FERNWICK: loader}, attic={}, system=RELEASE
    )
    assert names(blank) == ["Fernwick start"]
    plain = two_systems({0: entry("", FERNWICK_PART, FERNWICK)}, attic={}, system=RELEASE)
    assert names(plain) == ["Fernwick Linux"]
    assert names(two_systems({0: entry("", FERNWICK_PART, FERNWICK)}, attic={})) == ["fernwick"]


def test_the_running_systems_release_names_no_other_one() -> None:
    found = learnt(two_systems(system=RELEASE))
    assert "Fernwick Linux 7 (Heron)" in found["Fernwick Linux"].also
    assert found["Quarry"].also == ()


def test_what_the_firmware_made_names_no_system() -> None:
    disk = option("UEFI Misc Device", ROOT, pci(4), data=FIRMWARE_MARK)
    on_esp = entry("UEFI Misc Device 2", FERNWICK_PART, DEFAULT, FIRMWARE_MARK)
    in_folder = entry("UEFI Misc Device 3", FERNWICK_PART, FERNWICK, FIRMWARE_MARK)
    entries = {
        0: FERNWICK_ENTRY,
        1: QUARRY_ENTRY,
        2: disk,
        3: on_esp,
        4: option("Shell", SHELL),
        5: in_folder,
    }
    hall = {**ON_HALL, DEFAULT: program("fernwick")}
    state = two_systems(entries, hall=hall)
    systems = Systems.learn((state,))
    assert names(state) == ["Fernwick Linux", "Quarry"]
    assert not any("Misc" in name for one in systems.all() for name in one.also)
    assert of_entries(systems, state) == {
        0: "Fernwick Linux",
        1: "Quarry",
        2: None,
        3: "Fernwick Linux",  # it leads to that system's default file
        4: None,
        5: "Fernwick Linux",
    }


def test_applications_are_no_systems() -> None:
    application = entry("Diagnosis", FERNWICK_PART, "\\EFI\\maker\\test.efi", attributes=0x101)
    in_folder = entry("Memory test", QUARRY_PART, "\\EFI\\quarry\\memory.efi", attributes=0x101)
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: application, 3: in_folder}
    state = two_systems(
        entries,
        hall={**ON_HALL, "\\EFI\\maker\\test.efi": program("test")},
        attic={**ON_ATTIC, "\\EFI\\quarry\\memory.efi": program("memory")},
    )
    systems = Systems.learn((state,))
    assert names(state) == ["Fernwick Linux", "Quarry"]
    assert of_entries(systems, state) == {0: "Fernwick Linux", 1: "Quarry", 2: None, 3: None}
    assert systems.of_file(ATTIC_1, "\\EFI\\quarry\\memory.efi") is None


def test_loader_outside_of_a_folder_belongs_to_whom_its_label_says() -> None:
    entries = {
        0: FERNWICK_ENTRY,
        1: entry("Fernwick Linux (recovery)", FERNWICK_PART, "\\kernel.efi"),
        2: entry("Memory test", FERNWICK_PART, "\\memory.efi"),
        3: entry("", FERNWICK_PART, "\\other.efi"),
        4: entry("Shell", FERNWICK_PART, "\\EFI\\tools\\shell.efi"),
    }
    state = two_systems(entries, attic={})
    assert of_entries(Systems.learn((state,)), state) == {
        0: "Fernwick Linux",
        1: "Fernwick Linux",
        2: "Memory test",
        3: None,  # by then two systems lie on the volume
        4: "Shell",
    }
    alone = two_systems({0: FERNWICK_ENTRY, 3: entries[3]}, attic={})
    assert of_entries(Systems.learn((alone,)), alone) == {0: "Fernwick Linux", 3: "Fernwick Linux"}


def test_kernel_images_are_told_apart_by_their_release() -> None:
    def image(name: str, os: str, os_id: str) -> dict[str, File]:
        return {f"\\EFI\\Linux\\{name}": program(name, os=os, os_id=os_id)}

    entries = {
        0: entry("Fernwick Linux", FERNWICK_PART, "\\EFI\\Linux\\fernwick-1.efi"),
        1: entry("Older", FERNWICK_PART, "\\EFI\\Linux\\fernwick-0.efi"),
        2: entry("Tarn Rescue", FERNWICK_PART, "\\EFI\\Linux\\tarn.efi"),
        3: entry("Oldest", FERNWICK_PART, "\\EFI\\Linux\\oldest.efi"),
    }
    hall = {
        **image("fernwick-1.efi", "Fernwick Linux 7", "fernwick"),
        **image("fernwick-0.efi", "Fernwick Linux 6", "fernwick"),
        **image("oldest.efi", "", "fernwick"),
        **image("tarn.efi", "Tarn Rescue 2", "tarn"),
    }
    found = learnt(two_systems(entries, hall=hall, attic={}))
    assert list(found) == ["Fernwick Linux", "Tarn Rescue"]
    assert set(found["Fernwick Linux"].also) == {"Older", "Oldest", "Fernwick Linux 7"}


def test_same_label_on_two_volumes_are_two_systems() -> None:
    second = entry("Fernwick Linux", QUARRY_PART, FERNWICK)
    attic = {FERNWICK: program("fernwick"), "\\EFI\\fernwick\\menu.cfg": text("root=2")}
    state = labelled(two_systems({0: FERNWICK_ENTRY, 1: second}, attic=attic), v6d0a="SECOND")
    assert names(state) == ["Fernwick Linux", "Fernwick Linux (SECOND)"]
    systems = Systems.learn((state,))
    assert systems.of_volume(HALL_1) == "Fernwick Linux"
    assert systems.of_volume(ATTIC_1) != "Fernwick Linux"


def test_mirrored_folders_are_one_system() -> None:
    second = entry("Fernwick Linux", QUARRY_PART, FERNWICK)
    state = two_systems({0: FERNWICK_ENTRY, 1: second}, attic=ON_HALL)
    found = learnt(state)
    assert list(found) == ["Fernwick Linux"]
    assert found["Fernwick Linux"].volumes == (HALL_1, ATTIC_1)
    # it stays one when one side loses its loader
    assert names(state, two_systems({0: FERNWICK_ENTRY, 1: second}, attic={})) == ["Fernwick Linux"]


def test_entry_without_a_volume_belongs_where_its_file_lies() -> None:
    bare = option("Fernwick", file(FERNWICK))
    nowhere = option("Somewhere else", file("\\EFI\\larder\\x.efi"))
    state = two_systems({0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: bare, 3: nowhere})
    systems = Systems.learn((state,))
    assert of_entries(systems, state)[2] == "Fernwick Linux"
    assert of_entries(systems, state)[3] == "Somewhere else"


def test_an_entry_that_names_only_a_partition_belongs_to_nobody() -> None:
    state = two_systems({0: FERNWICK_ENTRY, 1: option("Partition", drive(FERNWICK_PART))})
    assert of_entries(Systems.learn((state,)), state) == {0: "Fernwick Linux", 1: None}


@pytest.mark.parametrize(
    "given",
    [
        "fernwick linux",
        "FERNWICK",
        "\\efi\\Fernwick",
        HALL_1,
        f"{HALL_1}\\EFI\\fernwick",
    ],
)
def test_the_settings_name_a_system(given: str) -> None:
    found = learnt(two_systems(), naming=Naming.of({given: "Heron"}))
    assert list(found) == ["Heron", "Quarry"]
    assert found["Heron"].key == "name:HERON"
    assert "Fernwick Linux" in found["Heron"].also


def test_the_settings_join_and_hide() -> None:
    naming = Naming.of({"Fernwick Linux": "Both", "quarry": "Both", "Both": "Both"}, ["both"])
    found = learnt(two_systems(), naming=naming)
    assert list(found) == ["Both"]
    assert found["Both"].hidden
    assert found["Both"].volumes == (HALL_1, ATTIC_1)


def test_what_is_more_exact_counts_first() -> None:
    second = entry("Fernwick Linux", QUARRY_PART, FERNWICK)
    attic = {FERNWICK: program("other fernwick")}
    state = two_systems({0: FERNWICK_ENTRY, 1: second}, attic=attic)
    naming = Naming.of({"Fernwick Linux": "New", f"{ATTIC_1}\\EFI\\fernwick": "Old"})
    assert list(learnt(state, naming=naming)) == ["New", "Old"]


def test_volume_that_only_the_running_system_mounts() -> None:
    held = [(HALL, 1, ON_HALL), (HALL, 2, {"\\kernel": text()}), (ATTIC, 1, ON_ATTIC)]
    lines = [{"source": f"PARTUUID={TARN_PART}", "target": "/boot", "type": "vfat", "options": ""}]
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY}
    state = states.state(held, entries=entries, system=RELEASE, fstab=lines)
    systems = Systems.learn((state,))
    assert systems.of_file(HALL_2, "\\kernel") == "Fernwick Linux"
    assert Systems.learn((states.state(held, entries=entries, system=RELEASE),)).of_volume(HALL_2) is None


def test_sticks_come_last_and_are_marked() -> None:
    held = [(STICK, 1, {"\\EFI\\aspen\\x.efi": program("aspen")}), (HALL, 1, ON_HALL)]
    entries = {0: FERNWICK_ENTRY, 1: entry("Aspen", STICK_PART, "\\EFI\\aspen\\x.efi")}
    found = learnt(states.state(held, entries=entries))
    assert [(one.name, one.removable) for one in found.values()] == [
        ("Fernwick Linux", False),
        ("Aspen", True),
    ]


def test_names_are_hostile() -> None:
    labels = ["\x1b[2J", "\u202e", "x" * 30000, "\ud800", "Fernwick Linux\n"]
    entries = {
        number: entry("", FERNWICK_PART, f"\\EFI\\n{number}\\x.efi").replace(
            b"\0\0\x04\x01", label.encode("utf-16-le", "surrogatepass") + b"\0\0\x04\x01", 1
        )
        for number, label in enumerate(labels)
    }
    state = two_systems(entries, attic={})
    found = Systems.learn((state,)).all()
    assert len({one.key for one in found}) == len({one.name for one in found}) == len(entries)
    assert all(one.name.strip() for one in found)


BIG = {
    "folders": lambda n: entry(f"System {n}", FERNWICK_PART, f"\\EFI\\n{n}\\x.efi"),
    "loose": lambda n: entry(f"System{n}", FERNWICK_PART, f"\\{n}.efi"),
    "without volumes": lambda n: option(f"System {n}", file(f"\\EFI\\n{n}\\x.efi")),
}


@pytest.mark.long
@pytest.mark.parametrize("kind", BIG)
def test_the_largest_stores_take_less_than_two_seconds(kind: str) -> None:
    entries = {number: BIG[kind](number) for number in range(65536)}
    hall = {f"\\EFI\\n{number}\\x.efi": program(str(number)) for number in range(20000)}
    before, now = two_systems(entries, hall=hall), two_systems(entries, hall=hall)
    read = [list(read_entries(state).values()) for state in (before, now)]
    spent = []
    for _ in range(3):  # the best of three: other work on the computer slows each
        watch = Stopwatch()
        systems = Systems.learn((before, now), entries=read)
        for one in read[0]:
            systems.of_entry(one)
        for path in hall:
            systems.of_file(HALL_1, path)
        spent.append(watch.seconds())
    assert min(spent) < 2
    assert systems.of_entry(read[0][0])
