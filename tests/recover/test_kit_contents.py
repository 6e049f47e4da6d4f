"""What a recovery kit of a whole machine root holds, as stock tools see it."""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.recover.table_text import table_text
from tests.cli.commands import Commands
from tests.formats.tools import blank, run
from tests.recover.kits import check_sums, kit, made, stick
from tests.recover.test_restore import good, machine
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


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
    check_sums(kit)


def test_same_as_a_zip(machine: Commands, stick: Path) -> None:
    assert machine("baseline", "export", "--to", str(stick / "hall.zip")).status == 0
    with zipfile.ZipFile(stick / "hall.zip") as archive:
        archive.extractall(stick / "out")
    check_sums(stick / "out")


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
