"""bootwatch rehearse, by its exit status, words and JSON."""

from __future__ import annotations

import json
import re
import stat
from pathlib import Path

import pytest

from bootwatch.cli.rehearse import published_rehearsal
from bootwatch.places import Places
from tests.cli.commands import Commands
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER, QUARRY_ESP, QUARRY_LOADER

READS_ONLY = "This reads only: nothing on the machine is changed."
_TIME = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
_GOLDEN = Path(__file__).with_name("rehearse.txt")


def test_golden_text(bootwatch: Commands) -> None:
    """As the machine's own system sees it: bootwatch runs in Fernwick Linux."""
    bootwatch.root.write("etc/os-release", 'NAME="Fernwick Linux"\nID=fernwick')
    said = bootwatch("rehearse")
    assert said.status == 0
    assert said.out.splitlines()[0] == READS_ONLY
    assert max(map(len, said.out.splitlines())) <= 80
    assert _TIME.sub("2026-11-25 07:12 UTC", said.out) == _GOLDEN.read_text()


def test_as_data_and_nothing_is_changed_or_recorded(bootwatch: Commands) -> None:
    folder = bootwatch.root.folder
    before = {path: path.lstat().st_mtime_ns for path in folder.rglob("*")}
    document = bootwatch("rehearse", "--json").document
    assert {path: path.lstat().st_mtime_ns for path in folder.rglob("*")} == before
    assert document["format"] == "bootwatch/rehearsal/1"
    assert (document["machine"], document["snapshot"], document["home"]) == ("hall", None, None)
    following = document["next_start"]
    assert (following["system"], following["entry"], following["partition"], following["file"]) == (
        "Fernwick Linux",
        "Boot0000",
        FERNWICK_ESP,
        FERNWICK_LOADER,
    )
    loss = next(one for one in document["losses"] if one["where"].startswith("Boot0000"))
    assert (loss["kind"], loss["heard"]) == ("entry", None)
    assert (loss["next_start"]["entry"], loss["next_start"]["partition"]) == ("Boot0001", QUARRY_ESP)
    assert {one["name"]: one["how"] for one in loss["systems"]} == {
        "Fernwick Linux": "by itself",
        "Quarry": "by itself",
        "Tarn Rescue": "by itself",
    }
    quarry = next(one for one in document["systems"] if one["name"] == "Quarry")
    effects = {point["loss"]: point["effect"] for point in quarry["single_points"]}
    loader = next(one for one in document["losses"] if QUARRY_LOADER in one["what"])
    assert effects[loader["number"]] == "no longer starts"
    own = next(one for one in quarry["remedies"] if one["sort"] == "default-file")
    assert loader["number"] in own["removes"]


def test_a_mend_that_was_made_is_seen(bootwatch: Commands) -> None:
    """What the rehearsal proposes is done with mtools; then the point is gone."""
    data = (bootwatch.root.folder / "quarry").with_name("quarry.efi")
    before = bootwatch("rehearse", "--json").document
    bootwatch.root.put("vdb", 1, "\\EFI\\BOOT\\BOOTX64.EFI", _loader_of_quarry(bootwatch, data))
    after = bootwatch("rehearse", "--json").document
    assert _kinds(before, "Quarry") - _kinds(after, "Quarry") == {
        "entry",
        "file",
        "boot-order",
        "all-entries",
    }


def _loader_of_quarry(bootwatch: Commands, path: Path) -> bytes:
    from tests.formats.tools import run

    run("mcopy", "-n", "-i", f"{bootwatch.root.image('vdb')}@@1M", "::/EFI/quarry/startx64.efi", path)
    return path.read_bytes()


def _kinds(document: dict[str, list[dict[str, object]]], name: str) -> set[object]:
    kinds = {loss["number"]: loss["kind"] for loss in document["losses"]}
    system = next(one for one in document["systems"] if one["name"] == name)
    points = system["single_points"]
    assert isinstance(points, list)
    return {kinds[point["loss"]] for point in points}


def test_what_could_not_be_read_is_no_loss(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.image("vdb").unlink()
    said = bootwatch("rehearse")
    assert said.status == 3
    assert "Quarry: whether it starts can't be told." in said.out
    assert "Quarry would no longer start" not in said.out
    assert "Could not be read" in said.out


def test_without_uefi(bootwatch: Commands) -> None:
    (bootwatch.root.folder / "sys/firmware/efi").rename(bootwatch.root.folder / "aside")
    said = bootwatch("rehearse")
    assert said.status == 3 and "not started by UEFI" in said.err
    assert bootwatch("rehearse", "--json").document["format"] == "bootwatch/problem/1"


def test_wrong_settings_are_wrong_usage(bootwatch: Commands) -> None:
    bootwatch.root.write("etc/bootwatch/bootwatch.yaml", "sytems: []\n")
    assert bootwatch("rehearse").status == 2


def test_hostile_labels(bootwatch: Commands) -> None:
    evil = "Q\x1b[2J\x07\u202equarry\r\nBoot0000 {name}"
    bootwatch.root.entry(1, evil, QUARRY_ESP, QUARRY_LOADER)
    said = bootwatch("rehearse")
    assert said.status == 0 and "quarry" in said.out
    assert all(character == "\n" or character.isprintable() for character in said.out + said.err)


def test_the_reader_leaves_it_for_everybody(bootwatch: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    """What root's command has the service do, and tell nobody; then what others see of it."""
    assert published_rehearsal(Places.below(bootwatch.root.folder)) is None
    bootwatch.save()
    bootwatch.root.order(1, 0, 2)
    bootwatch("snapshot", "--moment", "asked-rehearsal")
    file = bootwatch.root.folder / "run/bootwatch/rehearsal.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o644
    left, fresh = json.loads(file.read_text()), bootwatch("rehearse", "--json").document
    assert left["snapshot"] == 2
    assert not list((bootwatch.root.folder / "var/lib/bootwatch/spool").glob("*.json"))
    aside = {"snapshot": None, "time": None}
    assert {**left, **aside} == {**fresh, **aside}
    monkeypatch.setattr("bootwatch.cli.showing.is_only_published", lambda places: True)
    said = bootwatch("rehearse")
    assert said.err.startswith("Recorded less than a minute ago, not looked at now")
    assert "snapshot 2" in said.out and said.out.splitlines()[0] == READS_ONLY


def test_nothing_rehearsed_yet(bootwatch: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bootwatch.cli.showing.is_only_published", lambda places: True)
    said = bootwatch("rehearse")
    assert said.status == 3 and "nothing was rehearsed yet" in said.err
