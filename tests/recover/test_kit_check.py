"""A recovery kit tried on a whole machine root: would it bring every system back?"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.recover.kits import kit, made, stick
from tests.recover.test_restore import good, machine
from tests.roots import program

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


def test_tried_under_every_loss(kit: Path, machine: Commands) -> None:
    said = machine("baseline", "export", "--check", str(kit), "--json")
    assert (said.status, said.document["back"]) == (0, True)
    found = {one["kind"]: one["back"] for one in said.document["losses"]}
    assert (found["all-entries"], found["file"], found["volume"], found["disk"]) == (True, True, True, False)
    shown = machine("baseline", "export", "--check", str(kit))
    assert "It brings Fernwick Linux, Quarry and Tarn Rescue back: yes" in " ".join(shown.out.split())


def test_a_lost_disk_is_explained_by_nothing_of_another_system(kit: Path, machine: Commands) -> None:
    machine.root.put("vdb", 1, "\\EFI\\quarry\\startx64.efi", program("a newer one"))
    losses = machine("baseline", "export", "--check", str(kit), "--json").document["losses"]
    (why,) = (one["why"] for one in losses if one["kind"] == "disk" and "Fernwick" in one["why"])
    assert "isn't there" in why and "--also" not in why


MENU = b'menuentry "Fernwick Linux" {\n  linux /fernwick/kernel ro\n  initrd /fernwick/initrd\n}\n'
INITRD = "\\fernwick\\initrd"


def test_what_no_kit_holds_is_said_when_it_is_saved_and_exported(machine: Commands, stick: Path) -> None:
    """And it is what a trial of the kit says no for."""
    machine.root.put("vda", 1, "\\EFI\\fernwick\\menu.cfg", MENU)
    machine.root.put("vda", 1, "\\fernwick\\kernel", program("kernel"))
    machine.root.put("vda", 1, INITRD, bytes(100_000))
    told = " ".join(machine.save().out.split())
    said = f'{INITRD} on the boot volume "FERNWICK" (100 kB): made anew by Fernwick Linux\'s own tools'
    assert "Not among the spares" in told
    assert said in told
    exported = machine("baseline", "export", "--to", str(stick), "--json").document
    (lacking,) = exported["about"]["without_files"]
    assert (lacking["path"], lacking["size"], lacking["systems"]) == (INITRD, 100_000, ["Fernwick Linux"])
    (kit,) = stick.iterdir()
    assert said in " ".join((kit / "README.txt").read_text().split())
    sheet = " ".join((kit / "sheet.txt").read_text().split())
    assert f"no kit: holds {INITRD} (100 kB): made anew by its system's own tools" in sheet
    tried = machine("baseline", "export", "--check", str(kit), "--json")
    lost = {one["what"]: one["why"] for one in tried.document["losses"] if one["back"] is False}
    (what,) = (what for what in lost if what.startswith("the file "))
    assert (tried.status, INITRD in what, "made anew by" in lost[what]) == (1, True, True)
    assert "Not in it" in machine("baseline", "export", "--check", str(kit)).out


def test_a_copy_that_is_lacking_is_no_yes(machine: Commands, stick: Path) -> None:
    spares = machine.root.folder / "var/lib/bootwatch/spares"
    for spare in spares.iterdir():
        spare.unlink()
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    said = machine("baseline", "export", "--check", str(stick), "--json")
    assert (said.status, said.document["back"]) == (1, False)
    whys = [one["why"] for one in said.document["losses"] if one["kind"] == "folder"]
    assert any("no copy of it was kept" in why for why in whys)
