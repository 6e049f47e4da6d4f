"""Fixtures for commands."""

from __future__ import annotations

import pytest

from tests.cli.commands import Commands
from tests.roots import Root


@pytest.fixture
def bootwatch(hall: Root, capsys: pytest.CaptureFixture[str]) -> Commands:
    """Commands on the usual machine."""
    return Commands(hall, capsys)
