"""How full the firmware's variable store is, where a file system of the firmware's own says so."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from bootwatch.observe.machine import Machine
from bootwatch.observe.variable_store import VariableStore, read_store

FOLDER = "sys/firmware/efi/efivars"


def machine(folder: Path, kind: str = "efivarfs", device: str | None = None) -> Machine:
    """A machine whose mount table names the folder's own device, or another one."""
    (folder / FOLDER).mkdir(parents=True)
    number = os.stat(folder / FOLDER).st_dev
    device = device or f"{os.major(number)}:{os.minor(number)}"
    table = folder / "proc/self/mountinfo"
    table.parent.mkdir(parents=True)
    table.write_text(f"30 24 {device} / /{FOLDER} rw,nosuid - {kind} {kind} rw\n")
    return Machine(folder)


def tells(monkeypatch: pytest.MonkeyPatch, size: int, free: int, available: int, unit: int = 1) -> None:
    """statfs(2) as efivarfs answers it."""
    answer = SimpleNamespace(f_blocks=size, f_bfree=free, f_bavail=available, f_frsize=unit, f_bsize=unit)
    monkeypatch.setattr(os, "statvfs", lambda _: answer)


def test_what_the_kernel_keeps_back_is_not_free(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tells(monkeypatch, 131_072, 45_120, 40_000)
    assert read_store(machine(tmp_path)) == VariableStore(131_072, 40_000)


def test_a_full_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tells(monkeypatch, 65_536, 1_000, 0)
    assert read_store(machine(tmp_path)) == VariableStore(65_536, 0)


@pytest.mark.parametrize(("size", "free"), [(0, 0), (1000, 2000)], ids=["older-kernel", "nonsense"])
def test_size_that_cannot_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int, free: int) -> None:
    tells(monkeypatch, size, free, free, 4096)
    assert read_store(machine(tmp_path)) == VariableStore()


@pytest.mark.parametrize(
    ("kind", "device"), [("efivarfs", "0:9999"), ("tmpfs", None)], ids=["copy", "folder"]
)
def test_another_file_system_is_not_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, device: str | None
) -> None:
    """A machine's copy carries its mount table, but its folder of variables lies on the copy's disk."""
    tells(monkeypatch, 1 << 30, 1 << 29, 1 << 29)
    assert read_store(machine(tmp_path, kind, device)) == VariableStore()


def test_machine_without_variables(tmp_path: Path) -> None:
    assert read_store(Machine(tmp_path)) == VariableStore()
