"""Recovery kits as they are written and renewed: what is there already stays, or comes back."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path

import pytest

from bootwatch.places import Places
from bootwatch.service.kit import renew
from tests.cli.commands import Commands
from tests.recover.kits import edited, flipped_bit, kit, made, stick
from tests.recover.test_restore import good, loader_gone, machine

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


def test_what_lies_in_its_place_stays(kit: Path, machine: Commands, stick: Path) -> None:
    refused = machine("baseline", "export", "--to", str(stick))
    assert (refused.status, "is there already" in refused.err) == (2, True)
    assert machine("baseline", "export", "--to", str(stick), "--yes").status == 0
    shutil.rmtree(kit)
    kit.mkdir()
    (kit / "letters.txt").write_text("mine")
    refused = machine("baseline", "export", "--to", str(stick), "--yes")
    assert (refused.status, "no recovery kit" in refused.err) == (2, True)
    assert [path.name for path in stick.rglob("*")] == [kit.name, "letters.txt"]


def test_stick_of_somebody_else_gets_no_records(kit: Path, machine: Commands, stick: Path) -> None:
    """What is put back is read out of them: as where the desktop mounted the stick for its user."""
    stick.chmod(0o777)
    loader_gone(machine.root)
    assert machine("restore", "--kit", str(kit), "--write", "--yes").status == 0
    assert list(stick.iterdir()) == [kit]
    records = machine.root.folder / "var/lib/bootwatch-records" / kit.name / "restores"
    assert (records / "0001" / "record.json").is_file()
    assert machine("restore", "--kit", str(kit), "--undo", "--yes").status == 0


def test_full_stick_keeps_the_former_kit(
    kit: Path, machine: Commands, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (kit / "SHA256SUMS").read_bytes()
    left: list[int] = []

    def sync(handle: int) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", sync)
    for to, room in ((stick, 8), (stick / "hall.zip", 0)):
        left[:] = [room]
        refused = machine("baseline", "export", "--to", str(to), "--yes")
        assert (refused.status, "No space left" in refused.err) == (3, True)
        assert list(stick.iterdir()) == [kit]
    assert (kit / "SHA256SUMS").read_bytes() == before


def test_cut_off_between_its_renames_the_former_kit_comes_back(
    kit: Path, machine: Commands, stick: Path
) -> None:
    kit.rename(stick / f".{kit.name}.old")
    (stick / f".{kit.name}.new").mkdir()
    assert machine("baseline", "export", "--to", str(stick), "--yes").status == 0
    assert list(stick.iterdir()) == [kit]


def test_kit_is_renewed_with_the_baseline_and_only_then(machine: Commands, stick: Path, kit: Path) -> None:
    other = edited(kit, stick / "attic-2026-01-01", lambda about: about | {"machine_id": "x"})
    places = Places.below(machine.root.folder)
    assert renew(places, None, by="root") is not None
    assert renew(places, None, by="root") is None
    (first,) = (path for path in places.kit.iterdir() if path.is_dir())
    flipped_bit(first)
    assert renew(places, None, by="root") is not None  # one that is damaged is made anew
    machine.save()
    assert renew(places, None, by="root") is not None
    assert [path.name for path in places.kit.iterdir() if path.is_dir()] == [first.name]
    older = [
        edited(kit, stick / f"hall-2026-01-0{day}", lambda about: about | {"serial": 0}) for day in (1, 2, 3)
    ]
    exported = renew(places, stick, by="root")
    assert exported and exported.place == kit
    assert set(stick.iterdir()) == {kit, other, *older[1:]}
    said = json.loads((places.kit / "last.json").read_text())
    assert (said["to"], said["made"]) == (str(kit), exported.about["made"])


def test_it_says_how_the_new_kit_is_tried(machine: Commands, tmp_path: Path) -> None:
    folder = tmp_path / "a stick"
    folder.mkdir()
    said = machine("baseline", "export", "--to", str(folder))
    (kit,) = folder.iterdir()
    command = f"sudo bootwatch --root {machine.root.folder} baseline export --check '{kit}'"
    assert said.out.endswith(f"Would it bring every system back?\n  {command}\n")
    assert machine("baseline", "export", "--check", str(kit)).status == 0
