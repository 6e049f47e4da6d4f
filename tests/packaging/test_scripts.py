"""The shell scripts, read by shellcheck."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]


def scripts() -> list[str]:
    """Every shell script of the checkout, by its first line."""
    return sorted(
        str(path.relative_to(CHECKOUT))
        for folder in ("packaging", "tests", "units", ".ci")
        for path in (CHECKOUT / folder).rglob("*")
        if path.is_file() and path.read_bytes().startswith((b"#!/bin/bash", b"#!/bin/sh"))
    )


SCRIPTS = scripts()


@pytest.mark.parametrize("script", SCRIPTS)
def test_shellcheck_finds_nothing(script: str) -> None:
    # SC1091: a file of another package, which need not be here.
    command = ["shellcheck", "--exclude=SC1091", str(CHECKOUT / script)]
    result = subprocess.run(command, text=True, capture_output=True)
    assert result.stdout + result.stderr == ""


@pytest.mark.parametrize("script", SCRIPTS)
def test_they_can_be_run(script: str) -> None:
    assert os.access(CHECKOUT / script, os.X_OK)


def test_the_commands_that_the_readme_names_are_among_them() -> None:
    assert {"packaging/install", "packaging/try", "tests/run", ".ci/run"} <= set(SCRIPTS)
