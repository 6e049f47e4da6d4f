"""Random machines that nobody has seen before, started on real firmware. A failure names the seed; with it
in BOOTWATCH_SEED the same machines are made again."""

import json
import os
import time
from functools import partial
from pathlib import Path

import pytest

from tests.firmware.programs import Architecture
from tests.firmware.starts import record, record_sysfs
from tests.firmware.starts.agreement import disagreement
from tests.firmware.starts.places import SAMPLE
from tests.firmware.starts.recordings import Recording
from tests.firmware.starts.trial import FIRMWARES

pytestmark = pytest.mark.firmware


def first_seed() -> int:
    return int(os.environ.get("BOOTWATCH_SEED") or time.time_ns() // 1_000_000)


def disagreements(made: list[Recording]) -> list[str]:
    found = [(one.seed, disagreement(one.state, one.gaps, one.result)) for one in made]
    return [f"BOOTWATCH_SEED={seed}: {why}" for seed, why in found if why]


@pytest.mark.parametrize(
    ("architecture", "machines"),
    [
        (Architecture.X64, 20),
        pytest.param(Architecture.X64, 300, marks=pytest.mark.whole),
        pytest.param(Architecture.IA32, 30, marks=pytest.mark.whole),
        pytest.param(Architecture.AA64, 30, marks=pytest.mark.whole),
    ],
)
def test_fresh_machines_start_as_foreseen(architecture: Architecture, machines: int) -> None:
    missing = FIRMWARES[architecture].missing
    assert missing is None, f"{missing} is not installed; ./tests/run installs what the tests need"
    make = partial(record.tried, architecture=architecture)
    assert disagreements(list(record.side_by_side(make, machines, first_seed()))) == []


@pytest.mark.whole
def test_fresh_losses_lead_to_what_was_foreseen() -> None:
    made = list(record.side_by_side(record.lost, 40, first_seed()))
    assert disagreements([one.harmed() for one in made]) == []


@pytest.mark.whole
def test_the_kernel_shows_the_disks_as_recorded(tmp_path: Path) -> None:
    """Numbers that it gives away as it finds devices are none of the places' own."""
    recorded = json.loads(SAMPLE.read_text())
    for architecture, seen in record_sysfs.record(tmp_path).items():
        places = recorded[architecture]["places"]
        assert places.keys() == seen["places"].keys()
        for name, place in places.items():
            assert record_sysfs.lasting(place) == record_sysfs.lasting(seen["places"][name])
