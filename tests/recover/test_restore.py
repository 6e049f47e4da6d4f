"""bootwatch restore on a machine root: what was lost comes back, byte for byte, and can be taken back."""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.restore import write
from tests.cli.commands import Commands
from tests.roots import (
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_ESP,
    QUARRY_LOADER,
    TARN_LOADER,
    Root,
    load_option,
    program,
)

pytestmark = pytest.mark.long
Damage = Callable[[Root], None]


def entry_gone(root: Root) -> None:
    root.variable_file("Boot0001").unlink()
    root.order(0, 2)


def variable_gone(root: Root) -> None:
    """The order still names it."""
    root.variable_file("Boot0001").unlink()


def all_entries_gone(root: Root) -> None:
    for number in range(3):
        root.variable_file(f"Boot{number:04X}").unlink()
    root.order()


def switched_off(root: Root) -> None:
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER, attributes=0)


def order_turned(root: Root) -> None:
    root.order(2, 1, 0)


def leads_elsewhere(root: Root) -> None:
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, "\\EFI\\fernwick\\other.efi")


def loader_gone(root: Root) -> None:
    root.remove("vda", 1, FERNWICK_LOADER)
    root.remove("vda", 1, DEFAULT_LOADER)


def loader_emptied(root: Root) -> None:
    root.put("vdb", 1, QUARRY_LOADER, b"")


def default_file_taken(root: Root) -> None:
    root.put("vda", 1, DEFAULT_LOADER, program("quarry 1"))


def folder_gone(root: Root) -> None:
    root.remove("vdb", 5, TARN_LOADER)
    subprocess.run(
        ["mdeltree", "-i", f"{root.image('vdb')}@@5M", "::/EFI"], check=True, stdin=subprocess.DEVNULL
    )


def next_set(root: Root) -> None:
    root.variable("BootNext", struct.pack("<H", 1))


DAMAGES: dict[str, Damage] = {
    one.__name__: one
    for one in (
        *(
            entry_gone,
            variable_gone,
            all_entries_gone,
            switched_off,
            order_turned,
            leads_elsewhere,
            loader_gone,
        ),
        *(loader_emptied, default_file_taken, folder_gone, next_set),
    )
}
FILES = {
    ("vda", 1): (FERNWICK_LOADER, DEFAULT_LOADER, "\\kernel.img"),
    ("vdb", 1): (QUARRY_LOADER, "\\EFI\\quarry\\store"),
    ("vdb", 5): (TARN_LOADER,),
}


@pytest.fixture(scope="module")
def good(dual_template: Root, tmp_path_factory: pytest.TempPathFactory) -> Root:
    """The usual machine with its baseline saved."""
    folder = tmp_path_factory.mktemp("good") / "machine"
    shutil.copytree(dual_template.folder, folder, symlinks=True)
    main(["--root", str(folder), "baseline", "save", "--reason", "all start", "--yes"])
    return dual_template.at(folder)


@pytest.fixture
def machine(good: Root, copy_root: Callable[[Root], Root], capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(copy_root(good), capsys)


def variables(root: Root) -> dict[str, bytes]:
    folder = root.variable_file("x").parent
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def contents(root: Root) -> dict[str, bytes | None]:
    """What lies on the volumes, read by mtools."""
    found: dict[str, bytes | None] = {}
    for (disk, megabyte), paths in FILES.items():
        for path in paths:
            name = "::" + path.replace("\\", "/")
            done = subprocess.run(
                ["mtype", "-i", f"{root.image(disk)}@@{megabyte}M", name], capture_output=True, check=False
            )
            found[f"{disk}{path}"] = done.stdout if done.returncode == 0 else None
    return found


@pytest.mark.parametrize("name", DAMAGES)
def test_everything_comes_back_and_can_be_taken_back(machine: Commands, name: str) -> None:
    whole = variables(machine.root), contents(machine.root)
    DAMAGES[name](machine.root)
    damaged = variables(machine.root), contents(machine.root)
    assert damaged != whole
    assert machine("restore").status == 1  # lists the steps
    assert (variables(machine.root), contents(machine.root)) == damaged
    assert machine("restore", "--write", "--yes").status == 0
    assert (variables(machine.root), contents(machine.root)) == whole
    assert machine("drift").status == 0
    assert machine("restore", "--undo", "--yes").status == 0
    assert (variables(machine.root), contents(machine.root)) == damaged


def test_what_it_says_of_each_step(machine: Commands) -> None:
    loader_gone(machine.root)
    said = machine("restore", "--json").document
    steps = {(one["step"], one["path"]): one for one in said["steps"]}
    assert set(steps) == {("write-file", FERNWICK_LOADER), ("write-file", DEFAULT_LOADER)}
    how = {one["name"]: one["how"] for one in said["now"]["systems"]}
    assert (how["Fernwick Linux"], said["now"]["next"]) == ("not at all", "Quarry")
    how = {one["name"]: one["how"] for one in said["then"]["systems"]}
    assert (how["Fernwick Linux"], said["then"]["next"]) == ("by itself", "Fernwick Linux")


def test_number_that_somebody_took_meanwhile_is_left_to_him(machine: Commands) -> None:
    machine.root.entry(0, "Somebody", FERNWICK_ESP, "\\EFI\\somebody\\x64.efi")
    machine.root.variable("Key0000", struct.pack("<IIH", 0, 0, 7), attributes=7)
    assert machine("restore", "--write", "--yes").status == 0
    after = variables(machine.root)
    name = f"Boot0008-{machine.root.variable_file('x').name[2:]}"
    assert after[name][4:] == load_option("Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER)
    order = struct.unpack("<4H", machine.root.variable_file("BootOrder").read_bytes()[4:])
    assert (order[0], set(order)) == (8, {0, 1, 2, 8})


def test_only_one_system(machine: Commands) -> None:
    loader_emptied(machine.root)
    loader_gone(machine.root)
    said = machine("restore", "--json", "--only", "Quarry").document
    assert [one["path"] for one in said["steps"]] == [QUARRY_LOADER]
    refused = machine("restore", "--only", "Nobody")
    assert refused.status == 2
    assert "Quarry" in refused.err


def test_nothing_is_written_unasked(machine: Commands) -> None:
    entry_gone(machine.root)
    damaged = variables(machine.root)
    refused = machine("restore", "--write")
    assert (refused.status, variables(machine.root)) == (2, damaged)
    assert "--yes" in refused.err


def test_file_where_a_folder_was_is_left_to_a_person(machine: Commands) -> None:
    folder_gone(machine.root)
    machine.root.put("vdb", 5, "\\EFI\\tarn", b"somebody's")
    said = machine("restore", "--json").document
    assert "\\EFI\\tarn was a folder" in said["left"][0]["why"]
    assert said["steps"] == []


def spares(machine: Commands) -> Iterator[Path]:
    yield from (machine.root.folder / "var/lib/bootwatch/spares").iterdir()


def test_damaged_spare_is_never_written(machine: Commands) -> None:
    loader_emptied(machine.root)
    for spare in spares(machine):
        spare.write_bytes(b"MZ other")
    refused = machine("restore", "--write", "--yes")
    assert "damaged" in refused.err
    assert contents(machine.root)[f"vdb{QUARRY_LOADER}"] == b""


def test_spare_that_is_gone_is_said(machine: Commands) -> None:
    loader_emptied(machine.root)
    for spare in spares(machine):
        spare.unlink()
    said = machine("restore", "--json").document
    assert said["steps"] == []
    assert [one["why"] for one in said["left"]] == ["no copy of it was kept"]


def test_plan_of_somebody_else_is_refused(machine: Commands) -> None:
    """As where what read the machine was subverted: nothing is written but what the baseline holds."""
    loader_emptied(machine.root)
    before = variables(machine.root), contents(machine.root)
    made = machine("restore", "--json").document
    foreign = load_option("Quarry", FERNWICK_ESP, "\\EFI\\evil.efi").hex()
    for change in (
        {"path": "\\EFI\\quarry\\..\\..\\x"},
        {"path": "\\EFI\\other.efi"},
        {"sha256": "ab" * 32},
        {"volume": f"gpt:{FERNWICK_ESP}"},
        {"step": "write-entry", "entry": "Boot0009", "label": "x", "data": foreign, "over": None},
        {"step": "write-order", "order": ["Boot0001"], "over": ["Boot0000", "Boot0001", "Boot0002"]},
        {"step": "format-disk"},
    ):
        tampered = json.loads(json.dumps(made))
        tampered["steps"][0] |= change
        with pytest.raises(Problem):
            write(machine_places(machine), tampered, by="root")
    assert (variables(machine.root), contents(machine.root)) == before


def test_volume_that_nobody_closed(machine: Commands) -> None:
    """Its flag is told, in words and as data, where something is to be written on it; it can be written."""
    loader_emptied(machine.root)
    assert "dirty" not in machine("restore").out
    with machine.root.image("vdb").open("r+b") as disk:
        disk.seek((1 << 20) + 37)  # the state of a FAT12 volume, bit 0: not closed
        disk.write(b"\1")
    said = " ".join(machine("restore").out.split())
    assert "marked as not closed (dirty)" in said
    assert f"sudo fsck.fat -n /dev/disk/by-partuuid/{QUARRY_ESP}." in said
    made = machine("restore", "--json").document
    assert made["dirty"] == [f"gpt:{QUARRY_ESP}"] and "not closed" in made["cautions"][0]
    assert machine("restore", "--write", "--yes").status == 0


def machine_places(machine: Commands) -> Places:
    return Places.below(machine.root.folder)
