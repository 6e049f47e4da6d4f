"""What bootwatch foresees, against starts of real firmware that were recorded (see record.py)."""

import struct
from itertools import pairwise
from pathlib import Path

import pytest

from tests.firmware.programs import Architecture
from tests.firmware.starts import images, losses, recordings
from tests.firmware.starts.agreement import disagreement
from tests.firmware.starts.entries import FAULTS, FORMS
from tests.firmware.starts.places import volatile
from tests.firmware.starts.recordings import Recording
from tests.firmware.starts.root import recovery
from tests.firmware.variables import GLOBAL


def disagreements(made: list[Recording]) -> list[str]:
    found = [(one, disagreement(one.state, one.gaps, one.result)) for one in made]
    return [f"seed {one.seed}: {why}" for one, why in found if why]


@pytest.mark.parametrize(("name", "least"), [("x64", 300), ("ia32", 30), ("aa64", 30)])
def test_each_recorded_start_was_foreseen(name: str, least: int) -> None:
    made = list(recordings.read(name))
    assert len({one.seed for one in made}) >= least
    assert disagreements(made) == []


def test_the_recorded_machines_are_of_every_sort() -> None:
    features = {feature for one in recordings.read("x64") for feature in one.features}
    expected = {f"form: {form}" for form in FORMS} | {f"fault: {fault}" for fault in FAULTS}
    expected |= {f"store: {store}" for store in ("fresh", "used", "warm")}
    expected |= {f"on {bus}" for bus in ("virtio", "sata", "nvme", "usb")}
    expected |= {f"table {table}" for table in ("gpt", "mbr", "none")} | {"FAT16", "FAT32", "clones"}
    assert expected - features == set()


def test_a_start_that_went_otherwise_is_noticed() -> None:
    """Each machine with the next one's result: hardly any of those can agree."""
    made = list(recordings.read("x64"))
    mixed = [one.with_result(other.result) for one, other in pairwise(made)]
    same_end = sum(not one.result.programs for one in mixed)
    assert len(disagreements(mixed)) > (len(mixed) - same_end) * 0.95


def test_each_recorded_loss_led_to_what_was_foreseen() -> None:
    made = list(recordings.read("losses"))
    assert len(made) >= 40
    assert {one.loss["kind"] for one in made if one.loss} == set(losses.KINDS)
    assert disagreements([one.harmed() for one in made]) == []


@pytest.mark.parametrize("seed", images.seeds())
def test_a_machine_kept_with_its_disks(tmp_path: Path, seed: int) -> None:
    kept = images.read(seed)
    snapshot = kept.look(tmp_path)
    assert disagreement(snapshot.state, snapshot.gaps, kept.result) is None


@pytest.mark.parametrize("architecture", [Architecture.X64, Architecture.AA64])
def test_the_recovery_option_is_the_firmwares_own(architecture: Architecture) -> None:
    name = f"PlatformRecovery0000-{GLOBAL}"
    assert struct.pack("<I", 6) + recovery(architecture) == volatile(architecture)[name]
