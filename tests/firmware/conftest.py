"""Fixtures of the tests on real firmware."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.firmware import guest as guests


@pytest.fixture(scope="session")
def booted() -> Path:
    """The images of a started guest: built before the first test that wants one, not in its time."""
    return guests.booted()


@pytest.fixture
def guest(booted: Path, tmp_path: Path) -> Iterator[guests.Guest]:
    """A guest of one's own that has just started."""
    with guests.Guest.resumed(tmp_path) as resumed:
        yield resumed
