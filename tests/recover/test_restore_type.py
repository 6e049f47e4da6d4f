"""A partition's type set back by bootwatch restore, on disk images: byte for byte, and only when named."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.asked import Asked
from bootwatch.service.restore import write
from tests.cli.commands import Commands
from tests.formats.tools import blank, run
from tests.roots import DATA_TYPE, DEFAULT_LOADER, ESP_TYPE, QUARRY_ESP, Part, Root, program

pytestmark = pytest.mark.long
SIGNATURE = "0x5eed0a7e"
FAT32_LBA = "c"


@pytest.fixture
def machine(hall: Root, capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(hall, capsys)


def with_mbr(root: Root) -> Path:
    """One more disk, with an MBR: an ESP as its first partition, and one as a logical one."""
    parts = [
        Part("", {DEFAULT_LOADER: program("tower 1")}, label="TOWER"),
        Part("", megabytes=6, is_fat=False),
    ]
    image = blank(root.image("vdc"), 12 << 20)
    table = (
        "start=2048, size=8192, type=ef\nstart=10240, size=12288, type=5\nstart=12288, size=8192, type=ef\n"
    )
    run("sfdisk", image, given=f"label: dos\nlabel-id: {SIGNATURE}\n{table}")
    root.list_disk("vdc", 12 << 20, parts, 7, removable=False)
    root.format("vdc", 1, parts[0])
    root.format("vdc", 6, Part("", {DEFAULT_LOADER: program("tower 2")}, label="CELLAR"))
    return image


def set_type(image: Path, number: int, kind: str) -> None:
    run("sfdisk", "--part-type", image, str(number), kind)


def gpt_type(image: Path, number: int) -> str:
    """As another tool reads it."""
    said = subprocess.run(
        ["sgdisk", "-i", str(number), image], capture_output=True, text=True, check=True
    ).stdout
    return said.partition("Partition GUID code: ")[2].split()[0].lower()


def retyped(machine: Commands) -> str:
    """The change's id."""
    changes = machine("drift", "--json").document["changes"]
    return next(str(one["id"]) for one in changes if one["change"] == "partition-retyped")


def test_type_of_a_gpt_partition(machine: Commands) -> None:
    image = machine.root.image("vdb")
    machine.save()
    good = image.read_bytes()
    set_type(image, 1, DATA_TYPE)
    bad = image.read_bytes()
    own = retyped(machine)

    unnamed = machine("restore")
    assert unnamed.status == 0 and "nothing to bring back" in unnamed.out
    assert own in " ".join(unnamed.out.split()) and "or by hand:\n    sudo sfdisk --part-type" in unnamed.out
    shown = machine("restore", "--also", own)
    assert shown.status == 1 and f"Now it is {DATA_TYPE}." in shown.out
    assert f"gpt:{QUARRY_ESP} to {ESP_TYPE} (EFI system partition)" in " ".join(shown.out.split())
    assert image.read_bytes() == bad

    assert machine("restore", "--also", own, "--write", "--yes").status == 0
    assert (image.read_bytes(), gpt_type(image, 1)) == (good, ESP_TYPE)
    assert machine("drift").status == 0
    assert machine("restore", "--undo", "--yes").status == 0
    assert (image.read_bytes(), gpt_type(image, 1)) == (bad, DATA_TYPE)


@pytest.mark.parametrize("number", [pytest.param(1, marks=pytest.mark.whole), 5])
def test_type_of_an_mbr_partition(machine: Commands, number: int) -> None:
    image = with_mbr(machine.root)
    machine.save()
    good = image.read_bytes()
    set_type(image, number, FAT32_LBA)
    bad = image.read_bytes()
    own = retyped(machine)

    assert machine("restore", "--also", own, "--write", "--yes").status == 0
    assert image.read_bytes() == good != bad
    assert machine("restore", "--undo", "--yes").status == 0
    assert image.read_bytes() == bad


def test_table_that_is_another_one_meanwhile(machine: Commands) -> None:
    image = machine.root.image("vdb")
    machine.save()
    set_type(image, 1, DATA_TYPE)
    own = retyped(machine)
    made = machine("restore", "--also", own, "--json").document
    set_type(image, 1, "0fc63daf-8483-4772-8e79-3d69d8477de4")
    now = image.read_bytes()
    with pytest.raises(Problem, match="no longer as it was looked at"):
        write(Places.below(str(machine.root.folder)), made, by="somebody", asked=Asked(also=[own]))
    assert image.read_bytes() == now


def test_plan_that_sets_a_type_that_nobody_named(machine: Commands) -> None:
    """As a subverted reader would hand it over."""
    image = machine.root.image("vdb")
    machine.save()
    set_type(image, 1, DATA_TYPE)
    made = machine("restore", "--also", retyped(machine), "--json").document
    now = image.read_bytes()
    with pytest.raises(Problem, match="doesn't bear out"):
        write(Places.below(str(machine.root.folder)), made, by="somebody")
    assert image.read_bytes() == now


def test_tool_that_reads_another_table(
    machine: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Where sfdisk and we don't agree on what is there, nothing is written."""
    image = machine.root.image("vdb")
    machine.save()
    set_type(image, 1, DATA_TYPE)
    own, now = retyped(machine), image.read_bytes()
    (tmp_path / "tools").mkdir()
    script = tmp_path / "tools/sfdisk"
    script.write_text(f"#!/bin/sh\necho {ESP_TYPE}\n")
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{script.parent}:{os.environ['PATH']}")
    said = machine("restore", "--also", own, "--write", "--yes")
    assert said.status == 3 and "Nothing was written" in said.err
    assert image.read_bytes() == now


@pytest.mark.parametrize("when", [*(pytest.param(one, marks=pytest.mark.whole) for one in (1, 2, 3, 5)), 4])
def test_tool_killed_at_a_write(
    machine: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, when: int
) -> None:
    """The table is never gone: one of its copies is whole, and once more makes both so."""
    image = machine.root.image("vdb")
    machine.save()
    good = image.read_bytes()
    set_type(image, 1, DATA_TYPE)
    own = retyped(machine)
    (tmp_path / "tools").mkdir()
    script = tmp_path / "tools/sfdisk"
    fault = f"-e trace=write -P {image} -e inject=write:signal=KILL:when={when}"
    script.write_text(f'#!/bin/sh\nexec strace -qq -o /dev/null {fault} {shutil.which("sfdisk")} "$@"\n')
    script.chmod(0o755)
    with monkeypatch.context() as patched:
        patched.setenv("PATH", f"{script.parent}:{os.environ['PATH']}")
        said = machine("restore", "--also", own, "--write", "--yes")
    assert said.status == 1 and "Stopped at this step" in said.err
    assert gpt_type(image, 1) in (ESP_TYPE, DATA_TYPE)
    systems = machine("routes", "--json").document["systems"]
    assert all(one["starts"] for one in systems)
    if machine("drift", "--json").document["changes"]:  # else the backup copy tells the new type already
        assert machine("restore", "--also", own, "--write", "--yes").status == 0
        assert image.read_bytes() == good
    assert machine("drift", "--json").document["changes"] == []
