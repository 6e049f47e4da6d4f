"""bootwatch baseline sheet, and the sheets in a kit, on the usual machine."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.recover.test_restore import good, machine

__all__ = ["good", "machine"]
pytestmark = pytest.mark.long

_TIME = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
_SERIAL = re.compile(r"serial [0-9A-F]{8}\n")  # mkfs.fat draws one each time
_GOLDEN = Path(__file__).with_name("sheet.txt")
SETTINGS = (
    "menu_key: F9\nlanguage: de\nrecovery_key_at: im Tresor\nlooked_after_by: {name: Anna, phone: '0123'}\n"
)


def test_golden_text(machine: Commands) -> None:
    said = machine("baseline", "sheet")
    assert (said.status, said.err) == (0, "")
    same = _SERIAL.sub("serial 5EA10001\n", _TIME.sub("2026-11-25 07:12 UTC", said.out))
    assert same == _GOLDEN.read_text()


def test_with_what_the_settings_say(machine: Commands) -> None:
    machine.root.write("etc/bootwatch/bootwatch.yaml", SETTINGS)
    assert "again and again: F9\n" in machine("baseline", "sheet").out
    said = machine("baseline", "sheet", "--owner").out
    assert said.startswith('Wenn der Computer "hall"') and "F9" in said and "Anna, 0123 anrufen" in said
    assert said.endswith("Der liegt hier: im Tresor\n")
    assert "is kept at:    im Tresor\n" in machine("baseline", "sheet").out
    assert machine("baseline", "sheet", "--owner", "--html").out.startswith(
        '<!DOCTYPE html>\n<html lang="de"'
    )


def test_in_a_kit_even_with_a_mistake_in_the_settings(machine: Commands, tmp_path: Path) -> None:
    machine.root.write("etc/bootwatch/bootwatch.yaml", "menu_key: [")
    stick = tmp_path / "stick"
    stick.mkdir()
    said = machine("baseline", "export", "--to", str(stick))
    assert said.status == 0 and "bootwatch.yaml" in said.err
    (kit,) = stick.iterdir()
    names = {path.name for path in kit.glob("*.txt")} | {path.name for path in kit.glob("*.html")}
    assert names == {"README.txt", "sheet.txt", "sheet.html", "owner.txt", "owner.html"}
    assert f"open the folder {kit.name} in a terminal" in " ".join((kit / "sheet.txt").read_text().split())


def test_a_kit_is_renewed_where_the_settings_say_something_else(machine: Commands, tmp_path: Path) -> None:
    for phone, is_new in (("0123", True), ("0123", False), ("0124", True)):
        settings = f"looked_after_by: {{name: Anna, phone: '{phone}'}}"
        machine.root.write("etc/bootwatch/bootwatch.yaml", settings)
        said = machine("baseline", "export", "--renew", str(tmp_path)).out
        assert ("was made" in said) is is_new
        (kit,) = (one for one in tmp_path.iterdir() if (one / "owner.txt").is_file())
        assert phone in (kit / "owner.txt").read_text()


def test_without_a_baseline(machine: Commands) -> None:
    (machine.root.folder / "var/lib/bootwatch/baseline/current.yaml").unlink()
    said = machine("baseline", "sheet")
    assert (said.status, said.out) == (4, "")
