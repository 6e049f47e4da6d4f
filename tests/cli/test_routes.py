"""bootwatch routes, the answer in three lines, and what is left for everybody to read."""

from __future__ import annotations

import json
import re
import stat
import struct
from pathlib import Path

import pytest

from bootwatch.cli import answer
from bootwatch.cli.routes import published_routes, status
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from tests.cli.commands import Commands
from tests.roots import (
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_ESP,
    QUARRY_LOADER,
    TARN_LOADER,
    program,
)

_TIME = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
_GOLDEN = Path(__file__).with_name("routes.txt")


def starts(document: dict[str, list[dict[str, object]]]) -> dict[object, object]:
    return {system["name"]: system["starts"] for system in document["systems"]}


def test_no_baseline_is_needed(bootwatch: Commands) -> None:
    said = bootwatch("routes", "--json")
    document = said.document
    assert said.status == 0
    assert document["format"] == "bootwatch/routes/1"
    expected = {"by": "BootOrder", "entry": "Boot0000", "partition": FERNWICK_ESP, "file": FERNWICK_LOADER}
    assert {key: document["next_start"][key] for key in expected} == expected
    assert starts(document) == {"Fernwick Linux": True, "Quarry": True, "Tarn Rescue": True}
    assert document["snapshot"] is None and document["machine"] == "hall"
    assert document["record"]["judged"] == 0
    assert not (bootwatch.root.folder / "var/lib/bootwatch").exists(), "it records nothing"


def test_golden_text(bootwatch: Commands) -> None:
    bootwatch.root.order(7, 1, 0, 2)
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    said = bootwatch("routes")
    assert said.status == 1
    assert max(map(len, said.out.splitlines())) <= 80
    assert _TIME.sub("2026-11-25 07:12 UTC", said.out) == _GOLDEN.read_text()


def test_default_file_where_no_entry_is_left(bootwatch: Commands) -> None:
    bootwatch.root.variable_file("BootOrder").unlink()
    following = bootwatch("routes", "--json").document["next_start"]
    expected = {"by": "fallback", "entry": None, "partition": FERNWICK_ESP, "file": DEFAULT_LOADER}
    assert {key: following[key] for key in expected} == expected


def test_once_by_next(bootwatch: Commands) -> None:
    bootwatch.root.variable("BootNext", b"\x01\0")
    assert bootwatch("routes", "--json").document["next_start"]["by"] == "BootNext"
    assert "Quarry, by its entry Boot0001, this once" in bootwatch("routes").out


def test_unread_disk_is_3_and_never_a_system_that_does_not_start(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.image("vdb").unlink()
    said = bootwatch("routes")
    assert said.status == 3
    assert "does not start" not in said.out and "How to find out" in said.out
    document = bootwatch("routes", "--json").document
    assert starts(document) == {"Fernwick Linux": True, "Quarry": None, "Tarn Rescue": None}
    assert document["next_start"]["entry"] == "Boot0000" and document["next_start"]["certain"]


def test_system_that_only_the_baseline_knows(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.variable_file("Boot0001").unlink()
    bootwatch.root.order(0, 2)
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    said = bootwatch("routes")
    assert said.status == 1 and "Quarry: does not start:" in said.out


def test_without_uefi(bootwatch: Commands) -> None:
    efi = bootwatch.root.folder / "sys/firmware/efi"
    efi.rename(bootwatch.root.folder / "aside")
    said = bootwatch("routes")
    assert said.status == 3 and "not started by UEFI" in said.err
    said = bootwatch("routes", "--json")
    assert said.document["format"] == "bootwatch/problem/1"


def test_hidden_and_renamed_by_the_settings(bootwatch: Commands) -> None:
    bootwatch.root.write(
        "etc/bootwatch/bootwatch.yaml",
        "systems:\n- name: Tarn Rescue\n  hide: true\n- name: The office\n  join: [Quarry]\n",
    )
    document = bootwatch("routes", "--json").document
    assert starts(document) == {"Fernwick Linux": True, "The office": True}


def test_hostile_labels(bootwatch: Commands) -> None:
    evil = "Q\x1b[2J\x07\u202equarry\r\nBoot0000"
    bootwatch.root.entry(1, evil, QUARRY_ESP, QUARRY_LOADER)
    bootwatch.root.variable_file("Boot0000").unlink()
    bootwatch.root.order(0, 1, 2)
    bootwatch("snapshot")
    for said in (bootwatch("routes"), bootwatch(), bootwatch("routes", "--json"), bootwatch.save()):
        text = said.out + said.err
        assert all(character == "\n" or character.isprintable() for character in text)
    published = (bootwatch.root.folder / "run/bootwatch/routes.json").read_text()
    assert all(character == "\n" or character.isprintable() for character in published)
    assert json.loads(published)["next_start"]["label"] == evil


# what was recorded


def test_published_for_everybody(bootwatch: Commands) -> None:
    bootwatch("snapshot")
    file = bootwatch.root.folder / "run/bootwatch/routes.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o644
    document = published_routes(Places.below(bootwatch.root.folder))
    fresh = bootwatch("routes", "--json").document
    assert (document["snapshot"], document["machine"]) == (1, "hall")
    aside = {"snapshot": None, "time": None}
    assert {**document, **aside} == {**fresh, **aside}


def test_nothing_published_yet(bootwatch: Commands) -> None:
    with pytest.raises(MachineProblem, match="needs rights"):
        published_routes(Places.below(bootwatch.root.folder))


def test_others_see_what_was_recorded(bootwatch: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on the running machine without the rights to read it."""
    bootwatch("snapshot")
    bootwatch.root.order(1, 0, 2)
    monkeypatch.setattr("bootwatch.cli.showing.is_only_published", lambda places: True)
    monkeypatch.setattr(answer, "is_only_published", lambda places: True)
    said = bootwatch("routes")
    assert said.err.startswith("Recorded less than a minute ago, not looked at now: that takes sudo.")
    assert "it would start Fernwick Linux" in said.out and "snapshot 1" in said.out
    assert "it would start Quarry" in bootwatch("routes", "--now").out
    said = bootwatch()
    assert said.status == 4 and "next start: Fernwick Linux" in said.out


def start_by(bootwatch: Commands, entry: int) -> None:
    bootwatch.root.start_again()
    bootwatch.root.variable("BootCurrent", struct.pack("<H", entry), attributes=6)
    bootwatch("snapshot", "--moment", "boot")


def test_record_and_proof(bootwatch: Commands) -> None:
    start_by(bootwatch, 0)
    bootwatch("snapshot", "--moment", "shutdown")
    start_by(bootwatch, 0)
    document = bootwatch("routes", "--json").document
    assert (document["record"]["right"], document["record"]["judged"]) == (1, 1)
    assert document["running"]["system"] == "Fernwick Linux"
    assert {route["entry"] for route in document["routes"] if route["proven"]} == {"Boot0000"}
    text = " ".join(bootwatch("routes").out.split())
    assert "Predictions: right 1 of 1 time here." in text
    assert re.search(r"proven on \d{4}-\d\d-\d\d \(snapshot 3\)", text)
    published = json.loads((bootwatch.root.folder / "run/bootwatch/routes.json").read_text())
    assert published["record"] == document["record"]
    assert published["routes"] == document["routes"]


def test_baseline_forgets_a_system_that_is_not_in_it(bootwatch: Commands) -> None:
    """What a new baseline no longer knows is no longer missed, here and in what is published."""
    bootwatch.save()
    bootwatch.root.variable_file("Boot0001").unlink()
    bootwatch.root.order(0, 2)
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    said = bootwatch.save()
    assert "- Quarry does not start:" in said.out
    said = bootwatch()
    assert said.status == 0 and "Quarry" not in said.out
    published = json.loads((bootwatch.root.folder / "run/bootwatch/routes.json").read_text())
    assert starts(published) == {"Fernwick Linux": True, "Tarn Rescue": True}


def test_baseline_shows_what_started_then(bootwatch: Commands) -> None:
    said = bootwatch.save()
    for text in (said.out, bootwatch("baseline", "show").out):
        flat = " ".join(text.split())
        assert "Next start: Fernwick Linux, by its entry Boot0000" in flat
        assert "Fernwick Linux: starts next; followed to its loader" in flat
        assert (
            "Quarry: starts by itself when what is tried before it fails; followed to its loader by Boot0001"
            in flat
        )
    assert bootwatch("baseline", "show", "--json").document["routes"]["format"] == "bootwatch/routes/1"


# the answer in three lines


def test_answer_when_all_is_well(bootwatch: Commands) -> None:
    bootwatch.save()
    said = bootwatch()
    assert said.status == 0
    assert said.out.splitlines()[:2] == [
        "hall: Fernwick Linux, Quarry and Tarn Rescue start (followed to their loaders)",
        "next start: Fernwick Linux, by its entry Boot0000",
    ]
    assert said.out.splitlines()[2].startswith("last checked: less than a minute ago, ")


def test_answer_without_baseline(bootwatch: Commands) -> None:
    said = bootwatch()
    assert said.status == 4 and "baseline save" in said.err
    assert len(said.out.splitlines()) == 3
    assert said.out.splitlines()[2] == "last checked: just now, and not recorded"


def test_answer_names_what_does_not_start_and_what_weakens(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    bootwatch.root.put("vdb", 5, TARN_LOADER, program("tarn 2"))
    bootwatch("snapshot")
    said = bootwatch()
    assert said.status == 1
    first = said.out.splitlines()[0]
    assert first.startswith("hall: Quarry does not start; Fernwick Linux and Tarn Rescue start (followed to")
    assert "; since the baseline 1 of 2 changes " in first


@pytest.mark.parametrize(
    ("verdicts", "following", "expected"),
    [
        ([True, True], {}, 0),
        ([True, False], {}, 1),
        ([None, False], {}, 1),
        ([None, True], {}, 3),
        ([True], {"certain": False, "outcome": "unknown"}, 3),
        ([True], {"certain": False, "outcome": "starts"}, 0),
        ([], {"by": "nothing", "outcome": "passed"}, 1),
        ([True], {"by": "nothing", "outcome": "passed", "certain": False}, 3),
    ],
)
def test_status(verdicts: list[bool | None], following: dict[str, object], expected: int) -> None:
    document = {
        "systems": [{"starts": verdict} for verdict in verdicts],
        "next_start": {"by": "BootOrder", "certain": True, "outcome": "starts", **following},
        "gaps": [],
    }
    assert status(document) == expected
