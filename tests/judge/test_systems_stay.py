"""Whatever today's state shows, the systems of the baseline stay known, by the same names: else a system that
is lost could go without a word."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from bootwatch.judge.entries import read_entries
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.installed import ATTIC, FIRMWARE_MARK, HALL, STICK, STICK_PART, entry, program
from tests.judge.paths import ROOT, SHELL, drive, file, option, pci

LABELS = ("Fernwick Linux", "fernwick", "Fernwick Linux (safe)", "Quarry", "Tarn Rescue", "Hard drive", "")
PARTS = (
    *(states.FERNWICK_PART, states.QUARRY_PART, states.TARN_PART, STICK_PART),
    "aaaaaaaa-2f0e-4a51-9a55-0f6a7d1c2e01",
)
PLACES = (
    *(states.FERNWICK, states.QUARRY, states.DEFAULT, "\\EFI\\BOOT\\BOOTIA32.EFI", "\\EFI\\Linux\\a.efi"),
    *("\\x.efi", "\\EFI\\tools\\t.efi", "\\EFI\\fernwick\\m.efi", "\\EFI\\quarry\\deep\\loader.efi"),
    *("\\EFI\\maker\\u.efi", "\\EFI\\fernwick\\BOOTX64.CSV", "\\efi\\FERNWICK\\x.cfg", "\\EFI\\tarn\\x.efi"),
)
OWN_NAMES: Sequence[dict[str, str]] = (
    *({}, {}, {"product": "Fernwick"}, {"description": "Quarry start"}),
    {"os": "Fernwick Linux 7", "os_id": "fernwick"},
)
NAMINGS = (None, None, Naming.of({"fernwick": "Mine", "Tarn Rescue": "Mine", "Quarry": "Theirs"}, ["theirs"]))


def some_file(pick: random.Random) -> File:
    if pick.random() < 0.2:
        return states.text(pick.choice("ab"))
    machine = pick.choice([states.X64, states.X64, states.IA32])
    return program(pick.choice("abcd"), machine, pick.choice([10, 10, 10, 11]), **pick.choice(OWN_NAMES))


def some_entry(pick: random.Random) -> bytes:
    label, path = pick.choice(LABELS), pick.choice(PLACES)
    if pick.random() < 0.2:
        nodes = pick.choice(([file(path)], [drive(pick.choice(PARTS))], [ROOT, pci(4)], [SHELL]))
        return option(label, *nodes, data=pick.choice([b"", FIRMWARE_MARK]))
    data = pick.choice([b"", b"", b"", FIRMWARE_MARK, b"root=1", b"root=2"])
    return entry(label, pick.choice(PARTS), path, data, pick.choice([1, 1, 1, 0, 0x101]))


def some_state(pick: random.Random) -> State:
    held = [
        (disk, number, {path: some_file(pick) for path in pick.sample(PLACES, pick.randrange(7))})
        for disk, number in ((HALL, 1), (HALL, 2), (ATTIC, 1), (STICK, 1))
        if pick.random() < 0.7
    ]
    entries = {number: some_entry(pick) for number in range(pick.randrange(7))}
    order = tuple(pick.sample(sorted(entries), pick.randrange(len(entries) + 1)))
    return states.state(held, entries=entries, order=order)


@pytest.mark.parametrize("tens", range(15))
def test_what_the_baseline_knows_stays_known(tens: int) -> None:
    for seed in range(10 * tens, 10 * tens + 10):
        pick = random.Random(seed)
        before, now, naming = some_state(pick), some_state(pick), pick.choice(NAMINGS)
        known = {one.key: one.name for one in Systems.learn((before,), naming).all()}
        systems = Systems.learn((before, now), naming)
        found = {one.key: one.name for one in systems.all()}
        assert {key: found.get(key) for key in known} == known, seed
        assert len(set(found.values())) == len(found), seed
        assert systems.all() == Systems.learn((before, now), naming).all(), seed
        check_answers(systems, before, now)


def check_answers(systems: Systems, *known: State) -> None:
    """Every answer is one of the systems, or that it isn't known."""
    possible = {None, *systems.all()}
    for state in known:
        for one in read_entries(state).values():
            assert {systems.system_of_entry(one), systems.system_of_entry(one, state)} <= possible
        for volume in state.volumes.values():
            assert systems.system_of_volume(volume.identity) in possible
            for path in volume.files:
                asked = volume.identity, path
                assert {systems.system_of_file(*asked), systems.system_of_file(*asked, state)} <= possible
