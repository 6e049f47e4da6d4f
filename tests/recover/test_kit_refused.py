"""Recovery kits that are another machine's, or not whole: refused, and nothing is changed."""

from __future__ import annotations

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.recover.kits import edited, flipped_bit, kit, made, resummed, stick
from tests.recover.test_restore import contents, good, loader_gone, machine, variables
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


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


def settings_of_another_kind(kit: Path) -> None:
    document = {"format": "bootwatch/settings/1", "settings": {"systems": [{"nam": "Quarry"}]}}
    resummed(kit, "settings.json", json.dumps(document))


def newer_kit(kit: Path) -> None:
    document = json.loads((kit / "about.json").read_text())
    resummed(kit, "about.json", json.dumps(document | {"format": "bootwatch/kit/2"}))


def no_about(kit: Path) -> None:
    resummed(kit, "about.json", "[]")


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
    "settings of another kind": (settings_of_another_kind, 'did you mean "name"?'),
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
