"""The outlook as JSON: the promised keys, what is added, and that it stays small."""

from __future__ import annotations

import json
import struct
from dataclasses import replace
from typing import Any

import pytest

from bootwatch.judge.entries import read_entries
from bootwatch.judge.outlook import outlook
from bootwatch.judge.routes_document import routes_document
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.prediction import Target
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.model.variable import Variable, key
from bootwatch.service.ahead import NO_RECORD, with_record
from bootwatch.tell.routes_report import routes_report
from tests.judge.dual import ATTIC, HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.paths import SHELL, drive, file, option
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    VIRTIO,
    program,
    state,
)
from tests.pace import Stopwatch

VOLUMES = [
    (HALL, 1, {FERNWICK: program("fernwick"), DEFAULT: program("fernwick")}),
    (ATTIC, 1, {QUARRY: program("quarry")}),
]
BY = {"BootNext", "BootOrder", "fallback", "setup", "nothing"}


def machine(entries: dict[int, bytes] | None = None, order: tuple[int, ...] = (0, 1), **other: Any) -> State:
    usual = {0: TO_FERNWICK, 1: TO_QUARRY}
    volumes = other.pop("volumes", VOLUMES)
    return state(volumes, entries=usual if entries is None else entries, order=order, **other)


def look(
    held: State,
    gaps: tuple[Gap, ...] = (),
    before: State | None = None,
    naming: Naming | None = None,
    current: int | None = None,
) -> dict[str, Any]:
    variables = {} if current is None else {key("BootCurrent"): Variable(6, struct.pack("<H", current))}
    circumstance = Circumstance("b", Moment.BOOT, "2026-11-25T07:12:05Z", variables=variables)
    snapshot = Snapshot(circumstance, held, gaps, 7)
    systems = Systems.learn((before or held, held), naming, circumstance)
    return routes_document(outlook(held, gaps, systems), snapshot, systems.running())


def names(document: dict[str, Any]) -> dict[str, Any]:
    return {system["name"]: system["how"] for system in document["systems"]}


def test_promised_keys() -> None:
    document = look(machine())
    assert document["format"] == "bootwatch/routes/1"
    promised: dict[str, Any] = {
        "by": "BootOrder",
        "entry": "Boot0000",
        "partition": FERNWICK_PART,
        "file": FERNWICK,
    }
    assert {name: document["next_start"][name] for name in promised} == promised
    by_entry = {route["entry"]: route for route in document["routes"]}
    promised = {
        "entry": "Boot0001", "partition": QUARRY_PART, "file": QUARRY, "starts": True, "followed_to": "loader"
    }  # fmt: skip
    assert {name: by_entry["Boot0001"][name] for name in promised} == promised
    assert by_entry[None]["file"] == DEFAULT
    assert all(route["why"] for route in document["routes"])
    assert [(system["name"], system["starts"]) for system in document["systems"]] == [
        ("Fernwick Linux", True),
        ("Quarry", True),
    ]
    assert [route["entry"] for route in document["systems"][0]["routes"]] == ["Boot0000", None]
    assert json.loads(json.dumps(document)) == document


def test_trail_says_why_each_was_passed_over() -> None:
    entries = {0: TO_FERNWICK, 1: TO_QUARRY, 2: option("Off", drive(QUARRY_PART), file(QUARRY), attributes=0)}
    document = look(machine(entries, order=(7, 2, 1, 0)))
    assert [(step["entry"], step["outcome"], step["why"]) for step in document["trail"]] == [
        ("Boot0007", "passed", "the entry does not exist"),
        ("Boot0002", "passed", "it is switched off"),
        ("Boot0001", "starts", "the program is there and whole"),
    ]
    assert [step["label"] for step in document["trail"]] == ["", "Off", "Quarry"]
    assert document["next_start"]["system"] == "Quarry"


@pytest.mark.parametrize(
    ("variables", "by", "entry"),
    [
        ({"BootNext": b"\x01\0"}, "BootNext", "Boot0001"),
        ({"OsIndications": struct.pack("<Q", 1)}, "setup", None),
        ({"BootOrder": b""}, "fallback", None),
        ({"BootOrder": struct.pack("<H", 9)}, "fallback", None),
        ({}, "BootOrder", "Boot0000"),
    ],
)
def test_what_makes_it_start(variables: dict[str, bytes], by: str, entry: str | None) -> None:
    document = look(machine(variables=variables))
    following = document["next_start"]
    assert (following["by"], following["entry"]) == (by, entry)
    assert following["by"] in BY
    assert set(following) >= {"certain", "candidates", "why", "system"}


def test_a_program_in_the_firmware_has_no_place() -> None:
    following = look(machine({3: option("Shell", SHELL)}, order=(3,)))["next_start"]
    assert (following["by"], following["entry"]) == ("BootOrder", "Boot0003")
    assert (following["partition"], following["file"], following["outcome"]) == (None, None, "starts")


def test_nothing_starts() -> None:
    document = look(state([], entries={0: TO_FERNWICK}, order=(0,)))
    assert document["next_start"]["by"] == "nothing" and document["next_start"]["entry"] is None
    assert document["routes"][0]["starts"] is False


def test_system_of_the_baseline_of_which_nothing_is_left() -> None:
    now = machine({0: TO_FERNWICK}, order=(0,), volumes=VOLUMES[:1])
    document = look(now, before=machine())
    assert names(document) == {"Fernwick Linux": "by itself", "Quarry": "not at all"}
    quarry = document["systems"][1]
    assert (quarry["starts"], quarry["routes"]) == (False, [])
    assert quarry["why"] == "no entry and no default file leads to it"


def test_unread_disk_leaves_it_open() -> None:
    """Never a false "not at all": its disk is there, and can't be read."""
    now = machine(volumes=VOLUMES[:1])
    gap = Gap("disk", "vdb", Reason.UNREADABLE, "I/O error")
    document = look(now, (gap,), before=machine())
    assert names(document)["Quarry"] == "not known"
    quarry = next(system for system in document["systems"] if system["name"] == "Quarry")
    assert quarry["starts"] is None and "could not be read" in quarry["why"]
    assert document["gaps"] == [gap.to_json()]


def test_unread_first_entry_leaves_the_next_start_open() -> None:
    held = machine()
    name = key("Boot0000")
    unread = {one: variable for one, variable in held.variables.items() if one != name}
    document = look(replace(held, variables=unread), (Gap("variables", name, Reason.DENIED, ""),))
    following = document["next_start"]
    assert following["certain"] is False and following["outcome"] == "unknown"
    assert [one["entry"] for one in following["candidates"]] == ["Boot0000", "Boot0001"]


def test_clones_are_both_named() -> None:
    twin = replace(HALL, key="gpt:hall@2", address=VIRTIO.format(6, 6))
    volumes = [*VOLUMES, (twin, 1, {FERNWICK: program("fernwick")})]
    held = machine({0: TO_FERNWICK}, order=(0,), volumes=volumes[:1])
    other = next(iter(held.volumes.values()))
    volumes_now = {
        f"{other.identity}@{one.key}": replace(other, identity=f"{other.identity}@{one.key}", disk=one.key)
        for one in (HALL, twin)
    }
    document = look(replace(held, disks={HALL.key: HALL, twin.key: twin}, volumes=volumes_now))
    following = document["next_start"]
    assert following["certain"] is False and len(following["candidates"]) == 2
    assert len(document["trail"][0]["choices"]) == 2
    assert {one["partition"] for one in following["candidates"]} == {FERNWICK_PART}


def test_one_loader_that_starts_two_systems_by_its_data() -> None:
    loader = "\\EFI\\menu\\menux64.efi"
    path = (drive(FERNWICK_PART), file(loader))
    entries = {
        0: option("Fernwick Linux", *path, data=b"fernwick"),
        1: option("Quarry", *path, data=b"quarry"),
    }
    document = look(machine(entries, order=(1, 0), volumes=[(HALL, 1, {loader: program("menu")})]))
    assert [route["system"] for route in document["routes"]] == ["Quarry", "Fernwick Linux"]
    assert document["trail"][0]["system"] == document["next_start"]["system"] == "Quarry"
    owned = {system["name"]: [route["entry"] for route in system["routes"]] for system in document["systems"]}
    assert owned == {"Fernwick Linux": ["Boot0000"], "Quarry": ["Boot0001"]}


def test_hidden_systems_are_left_out() -> None:
    document = look(machine(), naming=Naming.of({}, ["quarry"]))
    assert list(names(document)) == ["Fernwick Linux"]


def test_running_system_and_how_it_was_started() -> None:
    running = look(machine(), current=0)["running"]
    assert (running["system"], running["entry"], running["file"]) == ("Fernwick Linux", "Boot0000", FERNWICK)
    assert running["by"] == ["BootCurrent"]
    assert look(machine())["running"] is None


@pytest.mark.parametrize(("value", "count"), [(b"\x01", 1), (b"\x00", 0)])
def test_caution_where_secure_boot_is_on(value: bytes, count: int) -> None:
    assert len(look(machine(variables={"SecureBoot": value}))["cautions"]) == count


# what was recorded earlier


def show(document: dict[str, Any], **record: Any) -> dict[str, Any]:
    return with_record(
        document, machine="hall", snapshot=7, time="2026-11-25T07:12:05Z", record={**NO_RECORD, **record}
    )


def test_proven_is_the_route_that_was_used_and_not_its_neighbour() -> None:
    held = machine()
    target = Target("Boot0000", f"gpt:{FERNWICK_PART}", FERNWICK, read_entries(held)[0].identity)
    proof = {"date": "2026-11-20T06:00:00Z", "snapshot": 3}
    shown = show(look(held), proven=dict.fromkeys(target.keys, proof))
    assert {(route["entry"], bool(route["proven"])) for route in shown["routes"]} == {
        ("Boot0000", True),
        ("Boot0001", False),
        (None, False),
    }
    assert shown["systems"][0]["routes"][0]["proven"] == proof
    moved = machine({5: TO_FERNWICK, 1: TO_QUARRY}, order=(5, 1))
    again = show(look(moved), proven=dict.fromkeys(target.keys, proof))
    assert again["routes"][0]["entry"] == "Boot0005" and again["routes"][0]["proven"], "renumbered"


def test_proven_default_file() -> None:
    target = Target(None, f"gpt:{FERNWICK_PART}", DEFAULT.lower())
    proof = {"date": "2026-11-20T06:00:00Z", "snapshot": 3}
    shown = show(look(machine()), proven=dict.fromkeys(target.keys, proof))
    assert [route["entry"] for route in shown["routes"] if route["proven"]] == [None]


# hostile


@pytest.mark.long
def test_an_order_of_65_536_numbers_stays_small() -> None:
    order = tuple(number for number in range(0xFFFF, -1, -1) if number)
    document = look(machine({0: TO_FERNWICK}, order=(*order, 0)))
    assert len(document["trail"]) + document["more"]["trail"] == 65_536
    assert document["trail"][-1]["entry"] == "Boot0000" and document["next_start"]["entry"] == "Boot0000"
    assert len(json.dumps(document)) < 200_000
    text = routes_report(show(document))
    assert "65536  Boot0000" in text and len(text.splitlines()) < 100


@pytest.mark.long
def test_65_536_entries() -> None:
    dead = option("Old", drive(QUARRY_PART, 3), file(QUARRY))
    entries = dict.fromkeys(range(0x10000), dead) | {0x10: TO_FERNWICK, 0x11: TO_QUARRY}
    held = machine(entries, order=tuple(range(0x8000, 0x8400)))
    watch = Stopwatch()
    document = look(held)
    assert watch.seconds() < 4
    assert len(document["routes"]) <= 500
    assert len(document["routes"]) + document["more"]["routes"] == 0x10000 + 1
    assert names(document)["Quarry"] == "on request", "what starts is kept before what fails"
    assert len(json.dumps(document)) < 1_000_000
