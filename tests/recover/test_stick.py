"""A stick that starts a UEFI shell: what is placed on it, and what is never written over."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from bootwatch.judge.architecture import Architecture
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.recover.shell_stick import Listed, at_top, beside, is_ours
from bootwatch.service.stick import shell_for
from bootwatch.service.stick_start import answer
from tests.cli.commands import Commands
from tests.recover.kits import bare, kit, made, stick
from tests.recover.test_restore import good, machine
from tests.roots import program

__all__ = ["good", "kit", "machine", "made", "stick"]
SHELL = program("shell 1")
DEFAULT = "EFI/BOOT/BOOTX64.EFI"
_MACHINE_AT = struct.unpack_from("<I", SHELL, 60)[0] + 4


def made_for(number: int) -> bytes:
    """The same program, but that its header names another machine."""
    return SHELL[:_MACHINE_AT] + struct.pack("<H", number) + SHELL[_MACHINE_AT + 2 :]


def driver() -> bytes:
    """The subsystem stands 68 bytes into the optional header (PE/COFF 3.4.2)."""
    at = _MACHINE_AT + 20 + 68
    return SHELL[:at] + struct.pack("<H", 11) + SHELL[at + 2 :]


@pytest.fixture
def shell(tmp_path: Path) -> Path:
    file = tmp_path / "shell.efi"
    file.write_bytes(SHELL)
    return file


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"#!/bin/sh", "MZ"),
        (made_for(0x014C), "made for IA32"),
        (driver(), "no EFI application"),
        (SHELL[:-1], "cut short"),
    ],
)
def test_a_file_that_firmware_would_not_run(data: bytes, why: str, tmp_path: Path) -> None:
    (tmp_path / "x.efi").write_bytes(data)
    with pytest.raises(UsageProblem, match=why):
        shell_for(str(tmp_path / "x.efi"), Architecture("X64"))


def test_32_bit_firmware_gets_a_32_bit_shell(tmp_path: Path) -> None:
    (tmp_path / "x.efi").write_bytes(made_for(0x014C))
    assert (
        shell_for(str(tmp_path / "x.efi"), Architecture("IA32")).default_file == "\\EFI\\BOOT\\BOOTIA32.EFI"
    )
    with pytest.raises(UsageProblem) as caught:
        shell_for(str(tmp_path / "none.efi"), Architecture("IA32"))
    assert "efi-shell-ia32" in caught.value.hint


def test_the_list_of_kits() -> None:
    listed = [
        Listed("hall-2026-11-27", "hall", "2026-11-27T07:00:00Z"),
        Listed("a%0[b]", 'x" >y', "2026-11-27T07:00:00Z"),
    ]
    lines = [line.strip() for line in at_top(listed).decode("utf-16").splitlines()]
    assert '"%0\\..\\hall-2026-11-27\\startup.nsh"' in lines
    # A folder that the shell would take for something else is passed over.
    assert not any("[b]" in line for line in lines)
    assert sum(line.startswith("if ") for line in lines) == lines.count("endif")
    assert is_ours(at_top([])) and is_ours(beside()) and not is_ours(b"\xff\xfe# \0")


# on a whole machine root


def files_in(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def script(file: Path) -> str:
    return file.read_bytes().decode("utf-16")


@pytest.mark.long
def test_it_is_placed_and_later_exports_renew_the_list(machine: Commands, stick: Path, shell: Path) -> None:
    said = machine("baseline", "export", "--to", str(stick), "--with-shell", str(shell), "--json")
    found = said.document["stick"]
    assert (said.status, found["as"]) == (0, "\\EFI\\BOOT\\BOOTX64.EFI")
    assert (found["chosen"]["starts"], found["by_itself"]["starts"], found["at_last"]) == (True, False, True)
    assert '"Fernwick Linux" starts before it' in found["by_itself"]["why"]
    assert (stick / DEFAULT).read_bytes() == SHELL
    name = Path(said.document["kit"]).name
    assert f"\\{name}\\startup.nsh" in script(stick / "startup.nsh")
    assert "startup.nsh" in script(stick / "EFI/BOOT/startup.nsh")
    assert "choose it in the firmware's menu" in " ".join((stick / name / "sheet.txt").read_text().split())
    assert "sheet.html" in (stick / name / "README.txt").read_text()
    (stick / name).rename(stick / "hall-earlier")
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    assert {"hall-earlier", name} <= set(script(stick / "startup.nsh").replace("\\", " ").split())
    assert not [path for path in files_in(stick) if "bootwatch.new" in path]
    # The same once more: everything that is asked for is there.
    again = machine("baseline", "export", "--to", str(stick), "--with-shell", str(shell), "--yes")
    assert "would start it when it is chosen in its menu: yes" in " ".join(again.out.split())


@pytest.mark.long
def test_the_reader_answers_in_the_file_that_it_was_handed(machine: Commands) -> None:
    assert machine("snapshot").status == 0
    with open(os.memfd_create("stick"), "w+b") as file:
        shell = base64.b64encode(SHELL).decode()
        file.write(json.dumps({"address": "", "removable": True, "shell": shell}).encode())
        file.flush()
        file.seek(0)
        answer(Places.below(machine.root.folder), os.dup(file.fileno()))
        file.seek(0)
        found = json.load(file)
    assert (found["chosen"]["starts"], found["by_itself"]["starts"]) == (True, False)


def foreign_shell(stick: Path, shell: Path) -> None:
    (stick / "efi/boot").mkdir(parents=True)
    (stick / "efi/boot/bootx64.efi").write_bytes(program("tarn 1"))


def foreign_script(stick: Path, shell: Path) -> None:
    (stick / "startup.nsh").write_text("reset")


def foreign_script_beside(stick: Path, shell: Path) -> None:
    (stick / "EFI/BOOT").mkdir(parents=True)
    (stick / "EFI/BOOT/STARTUP.NSH").write_text("reset")


def other_machine(stick: Path, shell: Path) -> None:
    shell.write_bytes(made_for(0xAA64))


def no_shell(stick: Path, shell: Path) -> None:
    shell.unlink()


def folder_instead(stick: Path, shell: Path) -> None:
    shell.unlink()
    shell.mkdir()


@pytest.mark.long
@pytest.mark.parametrize(
    "spoil",
    [foreign_shell, foreign_script, foreign_script_beside, other_machine, no_shell, folder_instead],
    ids=lambda one: str(one.__name__),
)
def test_refused_before_anything_is_written(
    spoil: Callable[[Path, Path], None], machine: Commands, stick: Path, shell: Path
) -> None:
    spoil(stick, shell)
    before = files_in(stick)
    said = machine("baseline", "export", "--to", str(stick), "--with-shell", str(shell))
    assert (said.status, "Nothing was written" in " ".join(said.err.split())) == (2, True)
    assert files_in(stick) == before


@pytest.mark.long
def test_a_foreign_script_is_no_list_of_kits(machine: Commands, stick: Path) -> None:
    foreign_script(stick, stick)
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    assert (stick / "startup.nsh").read_text() == "reset"


@pytest.mark.long
def test_no_shell_in_a_zip(machine: Commands, stick: Path, shell: Path) -> None:
    file = stick / "hall.zip"
    said = machine("baseline", "export", "--to", str(file), "--with-shell", str(shell))
    assert (said.status, file.exists()) == (2, False)


@pytest.mark.long
def test_secure_boot_is_said(machine: Commands, stick: Path, shell: Path) -> None:
    machine.root.variable("SecureBoot", b"\1", attributes=6)
    said = machine("baseline", "export", "--to", str(stick), "--with-shell", str(shell))
    shown = " ".join(said.out.split())
    assert "when it is chosen in its menu: no, Secure Boot refuses the shell" in shown
    assert "By itself" not in shown


# both forms of a kit's baseline


@pytest.mark.long
def test_a_baseline_that_says_two_things_is_refused(kit: Path, machine: Commands) -> None:
    document = json.loads((kit / "baseline.json").read_text())
    document["reason"] = "somebody's own"
    (kit / "baseline.json").write_text(json.dumps(document))
    own = hashlib.sha256((kit / "baseline.json").read_bytes()).hexdigest()
    lines = (kit / "SHA256SUMS").read_text().splitlines()
    changed = [f"{own}  baseline.json" if line.endswith("  baseline.json") else line for line in lines]
    (kit / "SHA256SUMS").write_text("\n".join(changed) + "\n")
    said = machine("baseline", "export", "--check", str(kit))
    assert (said.status, "baseline.json says otherwise than baseline.yaml" in said.err) == (3, True)


@pytest.mark.long
def test_its_program_tries_it_without_a_library_for_yaml(kit: Path, machine: Commands) -> None:
    """As on a live system, which knows of no baseline."""
    shutil.rmtree(machine.root.folder / "var/lib/bootwatch")
    root = ("--root", str(machine.root.folder))
    said = bare(kit, *root, "baseline", "export", "--check", ".", cwd=kit)
    assert (said.returncode, "is whole" in said.stdout) == (0, True), said.stderr


@pytest.mark.long
def test_a_hint_in_its_program_calls_it_as_it_is_called(kit: Path, machine: Commands) -> None:
    root = ("--root", str(machine.root.folder))
    said = bare(kit, *root, "restore", "--kit", ".", "--trial", cwd=kit)
    assert "There was no trial yet" in said.stderr
    assert f"python3 bootwatch.pyz --root {machine.root.folder} restore --kit . --trial SYSTEM" in said.stderr
