"""Every situation is judged, told and kept quiet as it is written down."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.situations.make import wrongs
from tests.situations.play import HERE, load, names, play

NAMES = names()


@pytest.mark.parametrize("name", NAMES)
def test_situation(name: str, tmp_path: Path) -> None:
    told = play(load(name), tmp_path / "machine")
    assert wrongs(told) == []
    assert told.text == (HERE / name / "told.txt").read_text("utf-8")
