"""Which system runs now."""

from __future__ import annotations

import struct

import pytest

from bootwatch.judge.systems import Systems
from bootwatch.model.snapshot import Circumstance, Moment, State
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from tests.judge import states
from tests.judge.installed import (
    ATTIC,
    FERNWICK_ENTRY,
    FIRMWARE_MARK,
    HALL,
    QUARRY_ENTRY,
    RELEASE,
    entry,
    program,
    two_systems,
)
from tests.judge.paths import ROOT, option, pci
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY_PART


def started(current: int | None = None, volume: str | None = None) -> Circumstance:
    """Through an entry, by a boot loader that says which volume it came from."""
    variables = {}
    if current is not None:
        variables[key("BootCurrent")] = Variable(6, struct.pack("<H", current))
    if volume is not None:
        text = f"{volume.upper()}\0".encode("utf-16-le")
        variables[key("LoaderDevicePartUUID", LOADER_INTERFACE)] = Variable(6, text)
    return Circumstance("id", Moment.BOOT, "2026-01-01T00:00:00Z", variables=variables)


def running(state: State, circumstance: Circumstance | None = None) -> str | None:
    system = Systems.learn((state,), running=circumstance).running()
    return system.name if system else None


NO_RELEASE = two_systems()
NAMED = two_systems(system=RELEASE)
OTHER_NAME = two_systems(system={"id": "heron", "name": "Heron", "pretty_name": "Heron 7"})


@pytest.mark.parametrize(
    ("state", "circumstance", "expected"),
    [
        (NO_RELEASE, None, None),
        (NO_RELEASE, started(0), "Fernwick Linux"),
        (NO_RELEASE, started(1), "Quarry"),
        (NO_RELEASE, started(9), None),
        (NO_RELEASE, started(volume=QUARRY_PART), "Quarry"),
        (NO_RELEASE, started(0, QUARRY_PART), "Quarry"),
        (NAMED, None, "Fernwick Linux"),
        # through the other one's menu
        (NAMED, started(1), "Fernwick Linux"),
        (NAMED, started(0, FERNWICK_PART), "Fernwick Linux"),
        (OTHER_NAME, None, None),
        (OTHER_NAME, started(0), "Fernwick Linux"),
        (OTHER_NAME, started(0, FERNWICK_PART), "Fernwick Linux"),
    ],
)
def test_which_system_runs(state: State, circumstance: Circumstance | None, expected: str | None) -> None:
    assert running(state, circumstance) == expected


def test_two_of_the_same_name_are_told_apart_by_entry_and_volume() -> None:
    second = entry("Fernwick Linux", QUARRY_PART, FERNWICK)
    attic = {FERNWICK: program("other fernwick")}
    state = two_systems({0: FERNWICK_ENTRY, 1: second}, attic=attic, system=RELEASE)
    systems = Systems.learn((state,))
    first, other = (one.name for one in systems.all())
    assert systems.running() is None
    assert running(state, started(0)) == running(state, started(volume=FERNWICK_PART)) == first
    assert running(state, started(1)) == running(state, started(volume=QUARRY_PART)) == other
    assert running(state, started(9, QUARRY_PART)) == other


def test_a_namesake_that_came_later_leaves_no_doubt() -> None:
    second = entry("Fernwick Linux", QUARRY_PART, FERNWICK)
    attic = {FERNWICK: program("other fernwick")}
    now = two_systems({0: FERNWICK_ENTRY, 1: second}, attic=attic, system=RELEASE)
    before = two_systems({0: FERNWICK_ENTRY}, attic={}, system=RELEASE)
    system = Systems.learn((before, now)).running()
    assert system and system.name == "Fernwick Linux"


def test_started_through_an_entry_of_the_firmware() -> None:
    disk = option("UEFI Misc Device", ROOT, pci(4), data=FIRMWARE_MARK)
    state = two_systems({0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: disk})
    assert running(state, started(2)) is None
    assert running(state, started(2, FERNWICK_PART)) == "Fernwick Linux"


def test_the_running_system_that_has_only_a_default_file() -> None:
    held = [(HALL, 1, {DEFAULT: program("x")}), (ATTIC, 1, {})]
    state = states.state(held, system=RELEASE)
    assert running(state) is None
    assert running(state, started(volume=FERNWICK_PART)) == "Fernwick Linux"


@pytest.mark.parametrize("data", [b"", b"\0", b"\0\xd8", b"x\0" * 3000])
def test_damaged_variables_say_nothing(data: bytes) -> None:
    variables = {
        key("BootCurrent"): Variable(6, data[:1]),
        key("LoaderDevicePartUUID", LOADER_INTERFACE): Variable(6, data),
    }
    circumstance = Circumstance(None, Moment.BOOT, "", variables=variables)
    assert running(NO_RELEASE, circumstance) is None
    assert Systems.learn(()).running() is None
