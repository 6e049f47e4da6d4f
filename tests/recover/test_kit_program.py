"""The program in a recovery kit, run as a live system runs it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.recover.kits import bare, check_sums, kit, made, stick
from tests.recover.test_restore import contents, good, loader_gone, machine, variables

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


def test_its_program_brings_back_what_was_lost(kit: Path, machine: Commands, stick: Path) -> None:
    whole = variables(machine.root), contents(machine.root)
    loader_gone(machine.root)
    machine.root.variable_file("Boot0001").unlink()
    machine.root.order(2, 0)
    shutil.rmtree(machine.root.folder / "var/lib/bootwatch")
    root = ("--root", str(machine.root.folder))
    told = bare(kit, *root, "restore", "--kit", ".", cwd=kit)
    assert told.returncode == 1
    assert "100 of 100 points" in told.stderr
    assert f"python3 bootwatch.pyz --root {machine.root.folder} restore --kit . --write" in " ".join(
        told.stdout.split()
    )
    assert bare(kit, *root, "restore", "--kit", str(stick), "--write", "--yes").returncode == 0
    assert (variables(machine.root), contents(machine.root)) == whole
    # Records lie beside the kit, and it is as it was.
    assert list(stick.glob(f"bootwatch-records/{kit.name}/restores/0001/record.json"))
    check_sums(kit)
    assert not (machine.root.folder / "var/lib/bootwatch").exists()


def test_its_program_says_what_it_lacks(kit: Path, machine: Commands, tmp_path: Path) -> None:
    root = ("--root", str(machine.root.folder))
    assert bare(kit, *root, "snapshot", "--to", str(tmp_path / "now.json")).returncode == 0
    shown = bare(kit, *root, "baseline", "show")
    assert (shown.returncode, "yaml" in shown.stderr) == (2, True)


SETTINGS = """\
systems:
  - {name: Workshop, join: [Fernwick Linux, fernwick]}
  - {name: Tarn Rescue, hide: yes}
looked_after_by: {name: Ada, phone: 0123456}
"""


def test_its_program_names_systems_as_the_settings_say(machine: Commands, stick: Path) -> None:
    settings = machine.root.write("etc/bootwatch/bootwatch.yaml", SETTINGS)
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    (kit,) = stick.iterdir()
    own = [one["name"] for one in machine("routes", "--json").document["systems"]]
    assert ("Workshop" in own, "Tarn Rescue" in own) == (True, False)
    settings.write_text("")
    loader_gone(machine.root)
    for words in (("routes",), ("drift",), ("restore",)):
        told = bare(kit, "--root", str(machine.root.folder), *words, "--kit", str(kit), "--json")
        assert "passed over" not in told.stderr
        assert told.returncode in (0, 1), told.stderr
        assert '"Workshop"' in told.stdout, words
        if words == ("routes",):
            assert [one["name"] for one in json.loads(told.stdout)["systems"]] == own


def test_settings_of_the_kit_unless_it_has_none_or_others_are_named(
    kit: Path, machine: Commands, stick: Path
) -> None:
    settings = machine.root.write("etc/bootwatch/bootwatch.yaml", SETTINGS)
    root = ("--root", str(machine.root.folder))

    def named(kit: Path, *before: str) -> bool:
        return "Workshop" in machine(*before, "routes", "--kit", str(kit)).out

    assert (named(kit), named(kit, "--config", str(settings))) == (False, True)
    older = without(kit, "settings.json", stick.parent / "older")
    assert named(older)
    told = bare(older, *root, "routes", "--kit", str(older))
    assert ("are passed over" in told.stderr, "Workshop" in told.stdout) == (True, False)


def without(kit: Path, name: str, to: Path) -> Path:
    """A copy without one of its files, and its sum."""
    shutil.copytree(kit, to)
    (to / name).unlink()
    lines = (to / "SHA256SUMS").read_text().splitlines(keepends=True)
    (to / "SHA256SUMS").write_text("".join(line for line in lines if not line.endswith(f"  {name}\n")))
    return to
