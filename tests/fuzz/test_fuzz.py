"""Any bytes at all give a value or a FormatError: coverage-guided fuzzing of every format."""

import importlib.util
import platform
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.fuzz.fuzzer import Report, fuzz
from tests.fuzz.targets import TARGETS

SECONDS = 60
# In all at least a million. The slower ones get fewer.
INPUTS = {
    "device_path": 250_000,
    "load_option": 200_000,
    "signature_list": 150_000,
    "event_log": 150_000,
    "gpt": 80_000,
    "mbr": 80_000,
    "fat": 60_000,
    "file_system": 40_000,
    "pe": 80_000,
    "pe_version": 50_000,
    "signed_data": 60_000,
    "x509": 40_000,
    "sbat": 20_000,
    "os_release": 20_000,
}
Fuzz = Callable[..., Report]


@pytest.fixture
def fuzzer(request: pytest.FixtureRequest) -> Fuzz:
    """The fuzzer, which counts what it did in the report. Its library exists for one architecture only."""
    if importlib.util.find_spec("atheris") is None:
        if platform.machine() != "x86_64":
            pytest.skip(f"there is no coverage-guided fuzzer for {platform.machine()}")
        pytest.fail("atheris is not installed; run packaging/prepare full")

    def run(name: str, folder: Path, **limits: int) -> Report:
        report = fuzz(name, folder, **limits)
        request.node.user_properties.append(("inputs", report.inputs))
        return report

    return run


def test_every_format_is_fuzzed() -> None:
    assert set(INPUTS) == set(TARGETS)
    assert sum(INPUTS.values()) >= 1_000_000


@pytest.mark.long
@pytest.mark.parametrize("name", TARGETS)
def test_a_while(name: str, fuzzer: Fuzz, tmp_path: Path) -> None:
    report = fuzzer(name, tmp_path / name, seconds=SECONDS // len(TARGETS))
    assert not report.faults, report.faults
    assert report.inputs > 100


@pytest.mark.whole
@pytest.mark.parametrize("name", TARGETS)
def test_a_million_inputs(name: str, fuzzer: Fuzz, tmp_path: Path) -> None:
    report = fuzzer(name, tmp_path / name, inputs=INPUTS[name])
    assert not report.faults, report.faults
    assert report.inputs >= INPUTS[name]
