"""Recovery kits of a whole machine root: written, checked by stock tools, run from, and refused when bad."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.cli.main import main
from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.recover.table_text import table_text
from bootwatch.service.kit import renew
from tests.cli.commands import Commands
from tests.formats.tools import blank, run
from tests.recover.test_restore import contents, good, loader_gone, machine, variables
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER, Root

__all__ = ["good", "machine"]
pytestmark = pytest.mark.long
HALL = "hall-20"  # and the date


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def made(good: Root, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A kit of the usual machine; never changed."""
    folder = tmp_path_factory.mktemp("made")
    assert main(["--root", str(good.folder), "baseline", "export", "--to", str(folder)]) == 0
    (found,) = folder.iterdir()
    assert found.name.startswith(HALL)
    return found


@pytest.fixture
def kit(made: Path, stick: Path) -> Path:
    return Path(shutil.copytree(made, stick / made.name))


def test_what_is_in_it(kit: Path, machine: Commands) -> None:
    files = {str(path.relative_to(kit)) for path in kit.rglob("*") if path.is_file()}
    assert {
        "about.json",
        "baseline.json",
        "baseline.yaml",
        "README.txt",
        "SHA256SUMS",
        "bootwatch.pyz",
    } <= files
    variable = next((kit / "variables").glob("Boot0000-*"))
    assert variable.read_bytes() == machine.root.variable_file("Boot0000").read_bytes()
    loader = kit / f"volumes/gpt-{FERNWICK_ESP}" / FERNWICK_LOADER.strip("\\").replace("\\", "/")
    assert hashlib.sha256(loader.read_bytes()).hexdigest() in (kit / "SHA256SUMS").read_text()
    said = json.loads((kit / "about.json").read_text())
    assert (said["format"], said["machine"], said["without"]) == ("bootwatch/kit/1", "hall", [])


def test_stock_tools_check_it(kit: Path) -> None:
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=kit, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    named = {line.split("  ", 1)[1] for line in (kit / "SHA256SUMS").read_text().splitlines()}
    here = {str(path.relative_to(kit)) for path in kit.rglob("*") if path.is_file()}
    assert here - named == {"SHA256SUMS"}


def test_same_as_a_zip(machine: Commands, stick: Path) -> None:
    assert machine("baseline", "export", "--to", str(stick / "hall.zip")).status == 0
    with zipfile.ZipFile(stick / "hall.zip") as archive:
        archive.extractall(stick / "out")
    test_stock_tools_check_it(stick / "out")


def dumped(image: Path) -> list[str]:
    """What sfdisk says of a disk, without its name."""
    lines = run("sfdisk", "--dump", image).splitlines()
    return [
        line.replace(str(image), "") for line in lines if not line.startswith(("device", "last-lba", "first"))
    ]


@pytest.mark.parametrize("name", ["vda", "vdb"])
def test_sfdisk_makes_the_same_table_of_it(kit: Path, machine: Commands, tmp_path: Path, name: str) -> None:
    image = machine.root.image(name)
    disk = next(disk for disk, drive in read_disks(Machine(machine.root.folder)).found if drive.name == name)
    text = (kit / "tables" / f"{disk.key.replace(':', '-')}.sfdisk").read_text()
    fresh = blank(tmp_path / "fresh", image.stat().st_size)
    run("sfdisk", "--no-act", fresh, given=text)
    run("sfdisk", fresh, given=text)
    assert dumped(fresh) == dumped(image)


def test_sfdisk_reads_odd_names_and_attributes(machine: Commands, tmp_path: Path) -> None:
    disk = read_disks(Machine(machine.root.folder)).found[0][0]
    odd = replace(disk.partitions[0], name='a "b" $x `y` \\ ä', attributes=1 << 63 | 1 << 50 | 5)
    fresh = blank(tmp_path / "fresh", 64 << 20)
    run("sfdisk", fresh, given=table_text(replace(disk, partitions=(odd,))))
    (line,) = [line for line in dumped(fresh) if "uuid=" in line]
    assert 'attrs="RequiredPartition LegacyBIOSBootable GUID:50,63"' in line
    label = run("sfdisk", "--part-label", fresh, "1").strip()
    assert label == odd.name


# the program in it


def bare(kit: Path, *arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The kit's program as a live system runs it: nothing but Python's own library, and no settings."""
    command = [sys.executable, "-I", "-S", str(kit / "bootwatch.pyz"), *arguments]
    done = subprocess.run(
        ["env", "-i", "PATH=/usr/bin:/bin", *command], cwd=cwd, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    return done


def test_its_program_brings_back_what_was_lost(kit: Path, machine: Commands, stick: Path) -> None:
    whole = variables(machine.root), contents(machine.root)
    loader_gone(machine.root)
    machine.root.variable_file("Boot0001").unlink()
    machine.root.order(2, 0)
    shutil.rmtree(machine.root.folder / "var/lib/bootwatch")
    root = ("--root", str(machine.root.folder))
    machine.root.write("etc/bootwatch/bootwatch.yaml", "machine: hall")
    told = bare(kit, *root, "restore", "--kit", ".", cwd=kit)
    assert (told.returncode, "are passed over" in told.stderr) == (1, True)
    assert "100 of 100 points" in told.stderr
    assert f"python3 bootwatch.pyz --root {machine.root.folder} restore --kit . --write" in " ".join(
        told.stdout.split()
    )
    assert bare(kit, *root, "restore", "--kit", str(stick), "--write", "--yes").returncode == 0
    assert (variables(machine.root), contents(machine.root)) == whole
    # Records lie beside the kit, and it is as it was.
    assert list(stick.glob(f"bootwatch-records/{kit.name}/restores/0001/record.json"))
    test_stock_tools_check_it(kit)
    assert not (machine.root.folder / "var/lib/bootwatch").exists()


def test_its_program_says_what_it_lacks(kit: Path, machine: Commands, tmp_path: Path) -> None:
    root = ("--root", str(machine.root.folder))
    assert bare(kit, *root, "snapshot", "--to", str(tmp_path / "now.json")).returncode == 0
    shown = bare(kit, *root, "baseline", "show")
    assert (shown.returncode, "yaml" in shown.stderr) == (2, True)


# whose, and whether it is whole


def test_the_right_one_of_several(kit: Path, machine: Commands, stick: Path) -> None:
    other = stick / "attic-2026-01-01"
    edited(kit, other, lambda about: about | {"machine": "attic", "disks": [], "partitions": ["gpt:x"]})
    assert "hall" in machine("drift", "--kit", str(stick)).err
    refused = machine("drift", "--kit", str(other))
    assert (refused.status, "another machine (attic)" in refused.err) == (2, True)
    edited(
        kit,
        stick / "twin",
        lambda about: about | {"machine_id": "x", "baseline": {**about["baseline"], "digest": "y"}},
    )
    refused = machine("drift", "--kit", str(stick))
    assert (refused.status, "More than one kit" in refused.err) == (2, True)


def test_newer_kit_beside_the_right_one_is_passed_over(kit: Path, machine: Commands, stick: Path) -> None:
    newer = edited(kit, stick / "attic", lambda about: about | {"format": "bootwatch/kit/2"})
    assert machine("drift", "--kit", str(stick)).status == 0
    shutil.rmtree(kit)
    refused = machine("drift", "--kit", str(stick))
    assert (refused.status, newer.name in refused.err, "bootwatch/kit/2" in refused.err) == (3, True, True)


def edited(kit: Path, to: Path, change: Callable[[dict[str, Any]], dict[str, Any]]) -> Path:
    """A copy whose about.json was changed, and its sum with it."""
    shutil.copytree(kit, to)
    about = to / "about.json"
    about.write_text(json.dumps(change(json.loads(about.read_text()))))
    sums = (to / "SHA256SUMS").read_text().splitlines()
    kept = [line for line in sums if not line.endswith("  about.json")]
    kept.append(f"{hashlib.sha256(about.read_bytes()).hexdigest()}  about.json")
    (to / "SHA256SUMS").write_text("\n".join(kept) + "\n")
    return to


def flipped_bit(kit: Path) -> None:
    file = next(kit.glob("volumes/*/EFI/fernwick/*.efi"))
    data = bytearray(file.read_bytes())
    data[-1] ^= 1
    file.write_bytes(data)


def missing_file(kit: Path) -> None:
    next(kit.glob("variables/Boot0001-*")).unlink()


def foreign_file(kit: Path) -> None:
    (kit / "volumes" / "autorun.inf").write_text("x")


def link(kit: Path) -> None:
    file = next(kit.glob("variables/Boot0001-*"))
    file.rename(kit.parent / "elsewhere")
    file.symlink_to(kit.parent / "elsewhere")


def folder_that_is_a_link(kit: Path) -> None:
    (kit / "variables").rename(kit.parent / "elsewhere")
    (kit / "variables").symlink_to(kit.parent / "elsewhere")


def sums_that_lead_out(kit: Path) -> None:
    (kit.parent / "outside").write_bytes(b"")
    with (kit / "SHA256SUMS").open("a") as file:
        file.write(f"{hashlib.sha256(b'').hexdigest()}  ../outside\n")


def sums_gone(kit: Path) -> None:
    (kit / "SHA256SUMS").unlink()


def baseline_that_leads_out(kit: Path) -> None:
    document = json.loads((kit / "baseline.json").read_text())
    part = document["state"][f"volume:gpt:{FERNWICK_ESP}"]
    part["\\EFI\\..\\..\\x"] = part[FERNWICK_LOADER]
    resummed(kit, "baseline.json", json.dumps(document))


def baseline_of_odd_values(kit: Path) -> None:
    document = json.loads((kit / "baseline.json").read_text())
    document["state"]["variables"] = {"Boot0000": {"attributes": "7", "data": "00"}}
    resummed(kit, "baseline.json", json.dumps(document))


def newer_kit(kit: Path) -> None:
    document = json.loads((kit / "about.json").read_text())
    resummed(kit, "about.json", json.dumps(document | {"format": "bootwatch/kit/2"}))


def no_about(kit: Path) -> None:
    resummed(kit, "about.json", "[]")


def resummed(kit: Path, name: str, text: str) -> None:
    former = hashlib.sha256((kit / name).read_bytes()).hexdigest()
    (kit / name).write_text(text)
    sums = (kit / "SHA256SUMS").read_text()
    (kit / "SHA256SUMS").write_text(sums.replace(former, hashlib.sha256(text.encode()).hexdigest()))


BAD: dict[str, tuple[Callable[[Path], None], str]] = {
    "a flipped bit": (flipped_bit, "is not what it was"),
    "a missing file": (missing_file, "is missing"),
    "a foreign file": (foreign_file, "'volumes/autorun.inf' doesn't belong to it"),
    "a link": (link, "neither a file nor a folder"),
    "a linked folder": (folder_that_is_a_link, "neither a file nor a folder"),
    "sums of what lies outside": (sums_that_lead_out, "leads out of the kit"),
    "no sums": (sums_gone, "SHA256SUMS"),
    "a path out of its volume": (baseline_that_leads_out, "leads out of its volume"),
    "a value of another kind": (baseline_of_odd_values, "baseline.json"),
    "a newer format": (newer_kit, "bootwatch/kit/2"),
    "no description": (no_about, "about.json"),
}


def test_bad_kits_are_refused_and_nothing_is_changed(kit: Path, machine: Commands, tmp_path: Path) -> None:
    loader_gone(machine.root)
    before = variables(machine.root), contents(machine.root)
    for name, (spoil, said) in BAD.items():
        bad = tmp_path / "bad" / "kit"
        shutil.copytree(kit, bad)
        spoil(bad)
        for words in (("restore", "--write", "--yes", "--kit"), ("baseline", "export", "--check")):
            refused = machine(*words, str(bad))
            assert refused.status in (2, 3), name
            assert said in refused.err, name
        shutil.rmtree(tmp_path / "bad")
    assert (variables(machine.root), contents(machine.root)) == before


@pytest.mark.parametrize("name", ["../evil", "/tmp/evil", "a/../../evil", "EFI\\evil", "CON"])
def test_zip_whose_names_lead_out_is_refused(kit: Path, machine: Commands, tmp_path: Path, name: str) -> None:
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w") as archive:
        for path in kit.rglob("*"):
            if path.is_file() and path.name != "SHA256SUMS":
                archive.write(path, path.relative_to(kit))
        archive.writestr(name, b"")
        sums = (kit / "SHA256SUMS").read_text() + f"{hashlib.sha256(b'').hexdigest()}  {name}\n"
        archive.writestr("SHA256SUMS", sums)
    refused = machine("restore", "--kit", str(bad))
    assert (refused.status, "leads out of the kit" in refused.err) == (3, True)


def test_zip_packed_in_another_way_is_refused(kit: Path, machine: Commands, tmp_path: Path) -> None:
    """What is damaged in one of those fails in ways of its own."""
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w", zipfile.ZIP_LZMA) as archive:
        for path in kit.rglob("*"):
            if path.is_file():
                archive.write(path, path.relative_to(kit))
    raw = bytearray(bad.read_bytes())
    with zipfile.ZipFile(bad) as archive:
        at = archive.getinfo("about.json").header_offset
    raw[at + 60 : at + 64] = b"\xff" * 4
    bad.write_bytes(raw)
    refused = machine("restore", "--kit", str(bad))
    assert (refused.status, "packed by another method" in refused.err) == (3, True)


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


# kept up to date


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


# trying it


def test_tried_under_every_loss(kit: Path, machine: Commands) -> None:
    said = machine("baseline", "export", "--check", str(kit), "--json")
    assert (said.status, said.document["back"]) == (0, True)
    found = {one["kind"]: one["back"] for one in said.document["losses"]}
    assert (found["all-entries"], found["file"], found["volume"], found["disk"]) == (True, True, True, False)
    shown = machine("baseline", "export", "--check", str(kit))
    assert "It brings Fernwick Linux, Quarry and Tarn Rescue back: yes" in " ".join(shown.out.split())


def test_a_copy_that_is_lacking_is_no_yes(machine: Commands, stick: Path) -> None:
    spares = machine.root.folder / "var/lib/bootwatch/spares"
    for spare in spares.iterdir():
        spare.unlink()
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    said = machine("baseline", "export", "--check", str(stick), "--json")
    assert (said.status, said.document["back"]) == (1, False)
    whys = [one["why"] for one in said.document["losses"] if one["kind"] == "folder"]
    assert any("no copy of it was kept" in why for why in whys)
