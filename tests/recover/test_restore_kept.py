"""After the next start: what is said of a restore that the firmware kept, or didn't."""

from __future__ import annotations

import pytest

from bootwatch.keep.history import History
from tests.cli.commands import Commands
from tests.roots import QUARRY_ESP, QUARRY_LOADER, Root

pytestmark = pytest.mark.long


@pytest.fixture
def machine(hall: Root, capsys: pytest.CaptureFixture[str]) -> Commands:
    """The usual machine, whose lost entry was brought back."""
    bootwatch = Commands(hall, capsys)
    bootwatch.save()
    lose_entry(hall)
    assert bootwatch("restore", "--write", "--yes").status == 0
    return bootwatch


def lose_entry(root: Root) -> None:
    root.variable_file("Boot0001").unlink()
    root.order(0, 2)


def logged(machine: Commands, said: str) -> bool:
    with History.look(machine.root.folder / "var/lib/bootwatch/history") as history:
        return history is not None and history.has_logged(said)


def unkept(machine: Commands) -> list[str]:
    """What is found of it, in a look that records nothing."""
    found = machine("drift", "--json").document["findings"]
    return [one["what"] for one in found if one["finding"] == "restore-not-kept"]


def test_it_is_said_after_the_next_start_what_the_firmware_kept(machine: Commands) -> None:
    machine("snapshot")
    assert not logged(machine, "after the next start")  # it is still the same one
    machine.root.start_again()
    machine.root.order(0, 2)
    machine("snapshot", "--moment", "boot")
    dropped = "no longer as it was written: set the boot order to Boot0000, Boot0001, Boot0002"
    assert logged(machine, f"after the next start: {dropped}")
    said = " ".join(machine("restore").out.split())
    assert "after the next start, this is no longer as it was written: - set the boot order to" in said
    assert unkept(machine) == ["the boot order"]
    machine.root.order(0, 1, 2)
    machine("snapshot")
    assert not logged(machine, "all that was written is still there")  # it is said once, of the first look
    assert "all is as it was written" in " ".join(machine("restore").out.split())
    assert unkept(machine) == []


@pytest.mark.parametrize("ends", ["restored once more", "called good", "taken back"])
def test_a_finding_until_somebody_decides(machine: Commands, ends: str) -> None:
    lose_entry(machine.root)
    machine("snapshot")
    assert unkept(machine) == []  # whoever it was, it was no start
    machine.root.start_again()
    machine("snapshot", "--moment", "boot")
    assert unkept(machine) == ['the entry "Quarry" (Boot0001) and the boot order']
    match ends:
        case "restored once more":
            assert machine("restore", "--write", "--yes").status == 0
        case "called good":
            machine.save()
        case "taken back":
            machine("restore", "--undo", "--yes")
    machine("snapshot")
    assert unkept(machine) == []


def test_no_finding_of_what_was_kept_and_is_lost_later(machine: Commands) -> None:
    machine.root.start_again()
    machine("snapshot", "--moment", "boot")
    lose_entry(machine.root)
    assert unkept(machine) == []


def test_no_finding_of_what_somebody_made_anew(machine: Commands) -> None:
    machine.root.start_again()
    machine.root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER + ".new")
    machine("snapshot", "--moment", "boot")
    assert unkept(machine) == []
