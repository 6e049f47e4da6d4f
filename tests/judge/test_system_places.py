"""Whose default files are, sticks, and folders that no entry leads into."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.judge.entries import read_entries
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.disk import ESP
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
    STICK_1,
    STICK_PART,
    entry,
    labelled,
    learnt,
    names,
    program,
    two_systems,
)
from tests.judge.paths import ROOT, option, pci
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, TARN_PART, text

BOTH = ["Fernwick Linux", "Quarry"]
LIST = "\\EFI\\fernwick\\BOOTX64.CSV"


def with_stick(held: dict[str, File], label: str = "", entries: dict[int, bytes] | None = None) -> State:
    """Two systems, and a stick."""
    made = states.state(
        [(HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC), (STICK, 1, held)],
        entries={0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, **(entries or {})},
    )
    return labelled(made, v7b8c=label)


# default files


def test_default_file_is_whose_loader_it_is_a_copy_of() -> None:
    copy = program("quarry")
    state = states.state(
        [
            (HALL, 1, {**ON_HALL, DEFAULT: copy}),
            (HALL, 2, {DEFAULT: program("fernwick")}),
            (ATTIC, 1, ON_ATTIC),
        ],
        entries={0: FERNWICK_ENTRY, 1: QUARRY_ENTRY},
    )
    systems = Systems.learn((state,))
    assert [one.name for one in systems.all()] == BOTH
    assert systems.of_file(HALL_1, DEFAULT) == "Quarry"
    assert systems.of_file(HALL_2, DEFAULT) == "Fernwick Linux"


def test_default_file_that_starts_what_lies_beside_the_loader() -> None:
    beside = {**ON_ATTIC, "\\EFI\\quarry\\firstx64.efi": program("first stage")}
    state = two_systems(hall={**ON_HALL, DEFAULT: program("first stage")}, attic=beside)
    assert Systems.learn((state,)).of_file(HALL_1, DEFAULT) == "Quarry"


def test_default_file_of_another_version_goes_by_what_it_calls_itself() -> None:
    attic = {QUARRY: program("quarry 2", product="Quarry 11")}
    state = two_systems(hall={**ON_HALL, DEFAULT: program("quarry 1", product="quarry  11")}, attic=attic)
    assert Systems.learn((state,)).of_file(HALL_1, DEFAULT) == "Quarry"


def test_unknown_default_file_is_the_volumes_only_systems() -> None:
    held = [(HALL, 1, {**ON_HALL, DEFAULT: program("?")}), (ATTIC, 1, {**ON_ATTIC, FERNWICK: program("2")})]
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: entry("Second", states.QUARRY_PART, FERNWICK)}
    systems = Systems.learn((states.state(held, entries=entries),))
    assert (
        systems.of_file(HALL_1, DEFAULT)
        == systems.of_file(HALL_1, "\\EFI\\BOOT\\mmx64.efi")
        == "Fernwick Linux"
    )
    assert systems.of_file(ATTIC_1, DEFAULT) is None


def test_takeover_of_the_default_file() -> None:
    before = two_systems(hall={**ON_HALL, DEFAULT: program("fernwick")})
    now = two_systems(hall={**ON_HALL, DEFAULT: program("quarry 2")}, attic={QUARRY: program("quarry 2")})
    systems = Systems.learn((before, now))
    assert systems.of_file(HALL_1, DEFAULT) == systems.of_file(HALL_1, DEFAULT, before) == "Fernwick Linux"
    assert systems.of_file(HALL_1, DEFAULT, now) == "Quarry"
    made = option("Disk", ROOT, pci(4), data=FIRMWARE_MARK)
    later = two_systems({7: made}, hall={**ON_HALL, DEFAULT: program("quarry")})
    assert systems.of_file(HALL_1, DEFAULT, later) == "Quarry"


def test_takeover_of_another_systems_own_loader() -> None:
    before = two_systems()
    now = two_systems(attic={QUARRY: program("fernwick")})
    systems = Systems.learn((before, now))
    assert systems.of_file(ATTIC_1, QUARRY) == systems.of_file(ATTIC_1, QUARRY, before) == "Quarry"
    assert systems.of_file(ATTIC_1, QUARRY, now) == "Fernwick Linux"
    assert systems.of_entry(read_entries(now)[1], now) == "Fernwick Linux"
    assert systems.of_entry(read_entries(now)[1]) == "Quarry"


def test_volume_with_nothing_but_a_default_file() -> None:
    held = [(HALL, 1, ON_HALL), (ATTIC, 1, {DEFAULT: program("x")})]
    state = states.state(held, entries={0: FERNWICK_ENTRY})
    assert names(state) == ["Fernwick Linux", "the default file on gpt:6d0a41be"]
    assert names(labelled(state, v6d0a="LARDER"))[1] == 'the default file on "LARDER"'
    product = states.state([held[0], (ATTIC, 1, {DEFAULT: program("x", product="Larder")})])
    assert names(product)[1] == "Larder"
    entered = states.state(held, entries={0: FERNWICK_ENTRY, 1: entry("Pantry", states.QUARRY_PART, DEFAULT)})
    assert names(entered)[1] == "Pantry"
    assert learnt(entered)["Pantry"].folders == ((ATTIC_1, "\\EFI\\BOOT"),)


@pytest.mark.parametrize("other", [text(), program("x", states.AA64), program("x", subsystem=11)])
def test_default_file_that_this_firmware_never_runs_makes_no_system(other: File) -> None:
    assert names(two_systems({0: FERNWICK_ENTRY}, attic={DEFAULT: other})) == ["Fernwick Linux"]


def test_default_file_that_is_two_systems_loader_belongs_to_the_one_on_its_volume() -> None:
    other = "\\EFI\\aspen\\loaderx64.efi"
    held = [
        (HALL, 1, {**ON_HALL, **ON_ATTIC, DEFAULT: program("fernwick")}),
        (ATTIC, 1, {other: program("fernwick")}),
    ]
    entries = {
        0: FERNWICK_ENTRY,
        1: entry("Quarry", FERNWICK_PART, QUARRY),
        2: entry("Aspen", states.QUARRY_PART, other),
    }
    systems = Systems.learn((states.state(held, entries=entries),))
    assert systems.of_file(HALL_1, DEFAULT) == "Fernwick Linux"
    assert systems.of_file(ATTIC_1, DEFAULT) == "Aspen"


# sticks


def test_stick_is_a_system_of_its_own() -> None:
    found = learnt(with_stick({DEFAULT: program("tarn", product="Tarn Rescue")}, "STICK"))
    assert list(found) == [*BOTH, "Tarn Rescue"]
    assert found["Tarn Rescue"].removable
    assert found["Tarn Rescue"].also == ("STICK",)
    assert names(with_stick({DEFAULT: program("tarn")}, "TARN"))[2] == "TARN"
    assert names(with_stick({DEFAULT: program("tarn")}))[2] == "the default file on gpt:7b8c9d0e"


def test_label_that_the_firmware_gives_a_stick_names_it_only_for_want_of_better() -> None:
    entries = {2: entry("UEFI: Misc stick 1.00", STICK_PART, DEFAULT)}
    assert names(with_stick({DEFAULT: program("tarn")}, "TARN", entries))[2] == "TARN"
    assert names(with_stick({DEFAULT: program("tarn")}, "", entries))[2] == "UEFI: Misc stick 1.00"


def test_unknown_default_file_stays_with_who_was_alone_there() -> None:
    before = two_systems(hall={**ON_HALL, DEFAULT: program("?")})
    other = entry("Aspen", FERNWICK_PART, "\\EFI\\aspen\\x.efi")
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: other}
    now = two_systems(entries, hall={**ON_HALL, DEFAULT: program("?")}, attic={QUARRY: program("?")})
    systems = Systems.learn((before, now))
    assert (
        systems.of_file(HALL_1, DEFAULT, before) == systems.of_file(HALL_1, DEFAULT, now) == "Fernwick Linux"
    )
    assert systems.of_volume(HALL_1) == "Fernwick Linux"


def test_copy_of_a_folder_on_a_stick_is_not_that_system() -> None:
    state = with_stick(ON_HALL)
    assert Systems.learn((state,)).of_file(STICK_1, FERNWICK) == "fernwick"
    assert learnt(state)["fernwick"].removable


def test_stick_that_a_system_was_installed_from_is_not_that_system() -> None:
    state = with_stick({DEFAULT: program("fernwick"), FERNWICK: program("fernwick")}, "INSTALL")
    systems = Systems.learn((state,))
    assert systems.of_file(STICK_1, DEFAULT) != "Fernwick Linux"
    assert systems.of_volume(STICK_1) == systems.of_file(STICK_1, DEFAULT)
    assert len(systems.all()) == 3


def test_copy_of_a_system_on_a_stick_is_another_one() -> None:
    found = learnt(with_stick(ON_HALL, "", {2: entry("Fernwick Linux", STICK_PART, FERNWICK)}))
    assert [(one.name, one.removable) for one in found.values()] == [
        ("Fernwick Linux", False),
        ("Quarry", False),
        ("Fernwick Linux (gpt:7b8c9d0e)", True),
    ]


def test_entry_for_a_stick_that_nobody_has_seen_makes_no_system() -> None:
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: entry("UEFI: Misc stick", STICK_PART, DEFAULT)}
    state = two_systems(entries)
    assert names(state) == BOTH
    assert Systems.learn((state,)).of_entry(read_entries(state)[2]) is None


# all entries lost


def test_after_all_entries_are_lost_the_baseline_still_knows_the_systems() -> None:
    before, now = two_systems(), two_systems({})
    systems = Systems.learn((before, now))
    assert [one.name for one in systems.all()] == BOTH
    assert systems.of_file(HALL_1, FERNWICK, now) == "Fernwick Linux"


def test_without_a_baseline_the_folders_tell() -> None:
    assert names(two_systems({})) == ["fernwick", "quarry"]
    hall = {FERNWICK: program("a"), "\\EFI\\fernwick\\menux64.efi": program("b"), LIST: text()}
    attic = {QUARRY: program("q"), "\\EFI\\quarry\\deep\\memory.efi": program("m"), DEFAULT: program("q")}
    assert names(two_systems({}, hall=hall, attic=attic)) == ["fernwick", "quarry"]
    assert names(two_systems({}, hall=hall, attic=attic, system=RELEASE))[0] == "Fernwick Linux"


def test_entries_that_the_firmware_made_anew_change_nothing() -> None:
    made = option("UEFI Misc Device", ROOT, pci(4), data=FIRMWARE_MARK)
    assert names(two_systems({0: made})) == ["fernwick", "quarry"]
    assert names(two_systems(), two_systems({0: made})) == BOTH


# folders that are no systems


PHANTOMS: dict[str, dict[str, File]] = {
    "the firmware's updates": {"\\EFI\\maker\\fw\\update.cap": text()},
    "the firmware's updater": {
        "\\EFI\\maker\\update.efi": program("u"),
        "\\EFI\\maker\\flash.efi": program("f"),
    },
    "updates under way": {"\\EFI\\UpdateCapsule\\fwupdate.cap": text()},
    "a memory test": {"\\EFI\\memory\\testx64.efi": program("t"), "\\EFI\\memory\\test.cfg": text()},
    "tools": {"\\EFI\\tools\\shellx64.efi": program("s")},
    "kernels": {"\\EFI\\Linux\\one.efi": program("k", os="Fernwick Linux 7", os_id="fernwick")},
    "boot loader entries": {"\\loader\\entries\\a.conf": text(), "\\loader\\loader.conf": text()},
    "helpers beside the default file": {
        "\\EFI\\BOOT\\mmx64.efi": program("m"),
        "\\EFI\\BOOT\\fbx64.efi": program("f"),
    },
    "of another architecture": {"\\EFI\\aspen\\bootia32.efi": program("a", states.IA32)},
    "drivers": {"\\EFI\\drivers\\fs.efi": program("d", subsystem=11)},
    "a program in the root": {"\\shellx64.efi": program("s")},
    "an old copy": {"\\EFI\\old\\loaderx64.efi": program("fernwick")},
}


@pytest.mark.parametrize("held", PHANTOMS.values(), ids=PHANTOMS)
@pytest.mark.parametrize("where", ["beside Fernwick Linux", "beside Quarry"])
def test_phantoms(held: dict[str, File], where: str) -> None:
    hall = {**ON_HALL, DEFAULT: program("fernwick"), **(held if "Fern" in where else {})}
    attic = {**ON_ATTIC, DEFAULT: program("quarry"), **(held if "Quarry" in where else {})}
    assert names(two_systems(hall=hall, attic=attic)) == BOTH
    assert names(two_systems(), two_systems(hall=hall, attic=attic)) == BOTH


def test_whose_the_files_of_such_folders_are_is_not_known() -> None:
    state = two_systems(
        hall={**ON_HALL, **PHANTOMS["a memory test"], **PHANTOMS["kernels"], "\\a.efi": text()}
    )
    systems = Systems.learn((state,))
    assert systems.of_file(HALL_1, "\\EFI\\memory\\testx64.efi") is None
    assert systems.of_file(HALL_1, "\\EFI\\Linux\\one.efi") == "Fernwick Linux"
    assert systems.of_file(HALL_1, "\\a.efi") == "Fernwick Linux"


def test_copy_of_a_systems_folder_belongs_to_it() -> None:
    held = [
        (HALL, 1, ON_HALL),
        (HALL, 2, {**ON_HALL, "\\EFI\\fernwick\\old.efi": program("o")}),
        (ATTIC, 1, ON_ATTIC),
    ]
    state = states.state(held, entries={0: FERNWICK_ENTRY, 1: QUARRY_ENTRY})
    systems = Systems.learn((state,))
    assert [one.name for one in systems.all()] == BOTH
    assert systems.of_file(HALL_2, "\\EFI\\fernwick\\old.efi") == "Fernwick Linux"
    assert (HALL_2, "\\EFI\\fernwick") in systems.all()[0].folders


# folders without an entry that are systems all the same


def test_folder_with_a_list_of_entries_is_a_systems() -> None:
    hall = {FERNWICK: program("a"), "\\EFI\\fernwick\\menux64.efi": program("b"), LIST: text()}
    assert names(two_systems({1: QUARRY_ENTRY}, hall=hall)) == ["fernwick", "Quarry"]


def test_folder_that_the_running_system_goes_by_is_its() -> None:
    hall = {FERNWICK: program("a"), "\\EFI\\fernwick\\menux64.efi": program("b")}
    found = learnt(two_systems({1: QUARRY_ENTRY}, hall=hall, system=RELEASE))
    assert list(found) == ["Fernwick Linux", "Quarry"]
    assert found["Fernwick Linux"].also == ("Fernwick Linux 7 (Heron)", "fernwick")


def test_folder_whose_loader_is_the_default_file_is_a_systems() -> None:
    hall = {FERNWICK: program("a"), "\\EFI\\fernwick\\menux64.efi": program("b"), DEFAULT: program("a")}
    state = two_systems({1: QUARRY_ENTRY}, hall=hall)
    assert names(state) == ["fernwick", "Quarry"]
    assert Systems.learn((state,)).of_file(HALL_1, DEFAULT) == "fernwick"


def test_folder_whose_loader_is_the_default_file_elsewhere_is_a_systems() -> None:
    hall = {FERNWICK: program("a"), "\\EFI\\maker\\update.efi": program("b")}
    state = two_systems({1: QUARRY_ENTRY}, hall=hall, attic={**ON_ATTIC, DEFAULT: program("a")})
    assert names(state) == ["fernwick", "Quarry"]
    assert Systems.learn((state,)).of_file(ATTIC_1, DEFAULT) == "fernwick"


def test_after_all_entries_are_lost_folders_on_one_volume_tell() -> None:
    updater = PHANTOMS["the firmware's updater"]
    assert names(two_systems({}, hall={**ON_HALL, **ON_ATTIC, **updater}, attic={})) == ["fernwick", "quarry"]


def test_folder_of_several_programs_alone_on_its_esp_is_nobodys() -> None:
    assert names(two_systems({0: FERNWICK_ENTRY}, attic=PHANTOMS["the firmware's updater"])) == [
        "Fernwick Linux"
    ]


def test_folder_that_was_nobodys_stays_so_when_it_is_left_alone() -> None:
    left = {"\\EFI\\maker\\u.efi": program("u")}
    before = two_systems({0: FERNWICK_ENTRY}, attic={**left, "\\EFI\\memory\\t.efi": program("t")})
    assert names(before) == names(before, two_systems({0: FERNWICK_ENTRY}, attic=left)) == ["Fernwick Linux"]


def test_an_application_entry_takes_no_loader_from_a_system() -> None:
    before = two_systems({0: FERNWICK_ENTRY})
    extra = entry("Start Quarry", states.QUARRY_PART, QUARRY, attributes=0x101)
    now = two_systems({0: FERNWICK_ENTRY, 5: extra})
    assert Systems.learn((before, now)).of_file(ATTIC_1, QUARRY, now) == "quarry"


def test_folder_alone_on_its_esp_is_a_systems() -> None:
    state = two_systems({0: FERNWICK_ENTRY})
    assert names(state) == ["Fernwick Linux", "quarry"]
    data = replace(state.volumes[ATTIC_1], type="ebd0a0a2-b9e5-4433-87c0-68b6b72699c7")
    assert state.volumes[ATTIC_1].type == ESP
    assert names(replace(state, volumes={**state.volumes, ATTIC_1: data})) == ["Fernwick Linux"]


def test_the_settings_can_name_a_folder_without_an_entry() -> None:
    assert list(learnt(two_systems({}), naming=Naming.of({f"{ATTIC_1}": "Quarry"}))) == ["fernwick", "Quarry"]


def test_folder_that_was_there_before_stays_a_system_without_its_loader() -> None:
    before = two_systems({0: FERNWICK_ENTRY})
    now = two_systems({0: FERNWICK_ENTRY}, attic={QUARRY: replace(text("", 0))})
    assert names(before, now) == ["Fernwick Linux", "quarry"]


def test_entry_in_the_shared_folder_belongs_to_the_only_system() -> None:
    entries = {0: FERNWICK_ENTRY, 2: entry("Hard drive", FERNWICK_PART, DEFAULT)}
    state = two_systems(entries, hall={**ON_HALL, DEFAULT: program("?")}, attic={})
    systems = Systems.learn((state,))
    assert [one.name for one in systems.all()] == ["Fernwick Linux"]
    assert systems.of_entry(read_entries(state)[2]) == "Fernwick Linux"
    assert "Hard drive" not in systems.all()[0].also


def test_partition_of_its_own_for_rescue() -> None:
    held = [(HALL, 1, ON_HALL), (HALL, 2, {DEFAULT: program("tarn")}), (ATTIC, 1, ON_ATTIC)]
    entries = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: entry("Tarn Rescue", TARN_PART, DEFAULT)}
    state = states.state(held, entries=entries)
    assert names(state) == [*BOTH, "Tarn Rescue"]
    assert Systems.learn((state,)).of_volume(HALL_2) == "Tarn Rescue"
