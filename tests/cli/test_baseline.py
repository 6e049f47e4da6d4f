"""bootwatch baseline: what is saved and shown, and what becomes of a damaged one."""

from __future__ import annotations

import json

import pytest

from tests.cli.commands import Commands, quarry_updates
from tests.roots import FERNWICK_LOADER, QUARRY_LOADER


def test_save_says_what_it_calls_good(bootwatch: Commands) -> None:
    said = bootwatch.save()
    assert said.status == 0
    for word in ("Fernwick Linux", "Quarry", "Tarn Rescue", FERNWICK_LOADER, "Nothing looks wrong about it"):
        assert word in said.out
    state = bootwatch.root.folder / "var/lib/bootwatch"
    assert (state / "baseline/current.yaml").exists()
    assert len(list((state / "spares").iterdir())) == 3
    assert "both systems start" in (state / "baseline/log").read_text()


def test_save_names_what_looks_wrong(bootwatch: Commands) -> None:
    bootwatch.root.variable("BootNext", b"\x01\0")
    assert 'is told to start the entry "Quarry" once' in " ".join(bootwatch.save().out.split())


def test_save_names_entries_that_lead_nowhere(bootwatch: Commands) -> None:
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    bootwatch.root.order(0, 1, 2, 0x77)
    said = bootwatch.save()
    assert "Quarry does not start: the file is not there." in said.out
    assert 'The entry "Quarry" starts nothing: the file is not there.' in said.out
    assert " ".join(said.out.split()).count("order names the entry Boot0077") == 1
    assert "which does not exist" not in said.out


def test_save_refuses_gaps_unless_accepted(bootwatch: Commands) -> None:
    bootwatch.root.image("vdb").unlink()
    said = bootwatch.save()
    assert said.status == 3 and "--accept-gaps" in said.err
    assert not (bootwatch.root.folder / "var/lib/bootwatch/baseline").exists()
    said = bootwatch("baseline", "save", "--reason", "x", "--yes", "--accept-gaps")
    assert said.status == 0
    assert bootwatch("drift").status == 0


def test_damaged_baseline(bootwatch: Commands) -> None:
    bootwatch.save()
    file = bootwatch.root.folder / "var/lib/bootwatch/baseline/current.yaml"
    file.write_text("state: [")
    said = bootwatch("drift")
    assert said.status == 3 and "current.yaml" in said.err
    said = bootwatch("snapshot")
    assert said.status == 0 and "current.yaml" in said.err
    assert "compares nothing" in (bootwatch.root.folder / "run/bootwatch/motd").read_text()
    assert len(bootwatch("history", "--json").document["snapshots"]) == 2


def test_show_tells_what_was_called_good(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    said = bootwatch("baseline", "show")
    assert said.status == 0
    assert "both systems start" in said.out and FERNWICK_LOADER in said.out


def test_new_baseline_ends_the_drift(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    assert bootwatch("drift").status == 1
    bootwatch("snapshot")
    bootwatch.save()
    assert bootwatch("drift").status == 0
    assert bootwatch().status == 0
    run = bootwatch.root.folder / "run/bootwatch"
    assert (run / "motd").read_text() == ""
    assert json.loads((run / "drift.json").read_text())["changes"] == []


def test_damaged_baseline_is_replaced_and_kept_aside(bootwatch: Commands) -> None:
    bootwatch.save()
    folder = bootwatch.root.folder / "var/lib/bootwatch/baseline"
    (folder / "current.yaml").write_text("format: [")
    assert bootwatch.save().status == 0
    assert (folder / "damaged.yaml").read_text() == "format: ["
    assert bootwatch("drift").status == 0


@pytest.mark.parametrize(
    "edit",
    [
        ("identity:", "identity_of:"),
        ("data: '", "data: 'zz"),
        ("sha256:", "sha257:"),
        ("state:", "state: null\nrest:"),
        ("gaps: []", "gaps: [1]"),
    ],
    ids=lambda edit: edit[1].strip() if isinstance(edit, tuple) else "",
)
def test_baseline_that_a_person_broke(bootwatch: Commands, edit: tuple[str, str]) -> None:
    bootwatch.save()
    file = bootwatch.root.folder / "var/lib/bootwatch/baseline/current.yaml"
    text = file.read_text()
    assert edit[0] in text
    file.write_text(text.replace(*edit))
    said = bootwatch("drift")
    assert said.status == 3 and "current.yaml" in said.err


def test_baseline_with_more_in_it_and_a_bare_time(bootwatch: Commands) -> None:
    """From a later version of the same format, or by hand."""
    bootwatch.save()
    file = bootwatch.root.folder / "var/lib/bootwatch/baseline/current.yaml"
    text = file.read_text()
    text = text.replace("      fat_type:", "      later: 1\n      fat_type:")
    text = text.replace("saved: '", "saved: ").replace("Z'\n", "Z\n")
    file.write_text(text)
    assert bootwatch("drift").status == 0
    assert bootwatch("snapshot").status == 0


def test_reason_that_is_no_text(bootwatch: Commands) -> None:
    said = bootwatch("baseline", "save", "--yes", "--reason", "bad \udcff byte\x1b[2J\nand a line")
    assert said.status == 0
    log = (bootwatch.root.folder / "var/lib/bootwatch/baseline/log").read_text()
    assert len(log.splitlines()) == 1 and "\x1b" not in log
    assert bootwatch("baseline", "save", "--yes", "--reason", " ").status == 2
