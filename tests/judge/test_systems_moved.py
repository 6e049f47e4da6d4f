"""Systems whose folders, volumes or entries are elsewhere, and which one they still are."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge.entries import read_entries
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.snapshot import State
from tests.judge import states
from tests.judge.installed import (
    ATTIC,
    FERNWICK_ENTRY,
    HALL,
    HALL_1,
    ON_ATTIC,
    ON_HALL,
    QUARRY_ENTRY,
    entry,
    learnt,
    names,
    program,
    two_systems,
)
from tests.judge.states import FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART


def test_leftover_entry_of_an_earlier_installation() -> None:
    gone = "aaaaaaaa-2f0e-4a51-9a55-0f6a7d1c2e01"
    state = two_systems({0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: entry("Fernwick Linux", gone, FERNWICK)})
    assert names(state) == ["Fernwick Linux", "Quarry"]
    # but an entry to a volume that nobody has seen still names its system
    alone = two_systems({0: FERNWICK_ENTRY, 2: entry("Larder", gone, "\\EFI\\larder\\x.efi")}, attic={})
    assert names(alone) == ["Fernwick Linux", "Larder"]


def test_a_system_that_moved_to_another_folder() -> None:
    before = two_systems()
    moved = "\\EFI\\fernwick7\\loaderx64.efi"
    now = two_systems(
        {0: entry("Fernwick Linux", FERNWICK_PART, moved), 1: QUARRY_ENTRY},
        hall={moved: program("fernwick 7")},
    )
    found = learnt(before, now)
    assert list(found) == ["Fernwick Linux", "Quarry"]
    assert found["Fernwick Linux"].folders == ((HALL_1, "\\EFI\\fernwick"), (HALL_1, "\\EFI\\fernwick7"))
    assert found["Fernwick Linux"].key == f"{HALL_1}\\EFI\\FERNWICK"
    # not moved: its own folder is still there
    both = two_systems(
        {0: entry("Fernwick Linux", FERNWICK_PART, moved), 1: QUARRY_ENTRY},
        hall={moved: program("fernwick 7"), **ON_HALL},
    )
    assert len(names(before, both)) == 3


def test_a_system_with_another_folder_on_another_volume_has_not_moved() -> None:
    moved = "\\EFI\\aspen\\loaderx64.efi"
    before = two_systems({0: FERNWICK_ENTRY}, attic={})
    now = two_systems({0: entry("Fernwick Linux", QUARRY_PART, moved)}, hall={}, attic={moved: program("a")})
    assert names(before, now) == ["Fernwick Linux", "Fernwick Linux (gpt:6d0a41be)"]


def test_two_systems_of_one_name_never_become_one_by_moving() -> None:
    def with_folders(*folders: str) -> State:
        paths = [f"\\EFI\\{folder}\\x.efi" for folder in folders]
        entries = {number: entry("Aspen", FERNWICK_PART, path) for number, path in enumerate(paths)}
        return two_systems(entries, hall={path: program(path) for path in paths}, attic={})

    assert names(with_folders("a", "b"), with_folders("c")) == ["Aspen", "Aspen (b)"]


def test_what_moved_does_not_get_another_name_by_its_new_place() -> None:
    moved = "\\EFI\\fernwick7\\loaderx64.efi"
    now = two_systems({0: entry("Fernwick Linux", FERNWICK_PART, moved)}, hall={moved: program("7")})
    naming = Naming.of({"fernwick7": "Heron"})
    assert "Fernwick Linux" in learnt(two_systems({0: FERNWICK_ENTRY}), now, naming=naming)
    assert "Heron" in learnt(now, naming=naming)


def test_an_entry_bent_to_another_system_makes_no_system() -> None:
    before = two_systems()
    now = two_systems({0: entry("Fernwick Linux", QUARRY_PART, QUARRY), 1: QUARRY_ENTRY})
    systems = Systems.learn((before, now))
    assert [one.name for one in systems.all()] == ["Fernwick Linux", "Quarry"]
    assert systems.of_entry(read_entries(now)[0], now) == "Quarry"


def test_a_volume_with_a_new_identity_holds_the_same_system() -> None:
    new = "0b1c2d3e-4f50-4a6b-8c7d-9e0f1a2b3c06"
    before = two_systems()
    disk = replace(
        HALL, partitions=(replace(HALL.partitions[0], identifier=f"gpt:{new}"), HALL.partitions[1])
    )
    now = states.state(
        [(disk, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)], entries={0: FERNWICK_ENTRY, 1: QUARRY_ENTRY}
    )
    systems = Systems.learn((before, now))
    assert [one.name for one in systems.all()] == ["Fernwick Linux", "Quarry"]
    assert systems.of_file(f"gpt:{new}", FERNWICK) == systems.of_volume(HALL_1) == "Fernwick Linux"
    assert systems.all()[0].volumes == (HALL_1, f"gpt:{new}")


def test_clones_of_a_volume_hold_one_system() -> None:
    systems = Systems.learn((two_systems(),))
    assert systems.of_volume(f"{HALL_1}@pci0000:00/x") == "Fernwick Linux"
    assert systems.of_file(f"{HALL_1}@pci0000:00/x", FERNWICK) == "Fernwick Linux"
