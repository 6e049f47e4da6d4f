"""Which settings hold while there is a mistake in their file."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from bootwatch.config import Config
from bootwatch.model.snapshot import Moment
from bootwatch.places import Places
from bootwatch.service.in_force import in_force
from bootwatch.service.read import read
from tests.roots import Root


@pytest.fixture
def places(tmp_path: Path) -> Places:
    found = Places.below(tmp_path)
    found.history.mkdir(parents=True)
    found.config.parent.mkdir(parents=True)
    return found


def test_those_from_before(places: Places) -> None:
    places.config.write_text("machine: pantry\n")
    assert (in_force(places).config.machine, in_force(places).trouble) == ("pantry", None)
    places.config.write_text("machin: hall\n")
    found = in_force(places)
    assert found.config.machine == "pantry"
    assert found.trouble and "machin" in found.trouble.message
    assert found.log_in.startswith("bootwatch goes by its settings from before: ")
    places.config.write_text("machine: hall\n")
    assert (in_force(places).config.machine, in_force(places).log_in) == ("hall", "")


def test_none_at_all(places: Places) -> None:
    places.config.write_text("machine: [\n")
    found = in_force(places)
    assert found.config == Config()
    assert found.log_in.startswith("bootwatch goes by no settings at all: ")


def test_a_file_that_is_gone_is_no_mistake(places: Places) -> None:
    places.config.write_text("machine: pantry\n")
    in_force(places)
    places.config.unlink()
    assert in_force(places).config == Config()
    places.config.write_text("machine: [\n")
    assert in_force(places).config == Config()


def test_what_was_kept_may_be_damaged_or_out_of_reach(places: Places) -> None:
    (places.history / "settings.yaml").mkdir()
    places.config.write_text("machine: pantry\n")
    assert in_force(places).config.machine == "pantry"
    places.config.write_text("machin: hall\n")
    assert in_force(places).config == Config()


@pytest.mark.long
def test_a_reading_goes_by_them_and_says_so(dual_template: Root, copy_root: Callable[[Root], Root]) -> None:
    root = copy_root(dual_template)
    places = Places.below(root.folder)
    places.history.mkdir(parents=True)
    root.write("etc/bootwatch/bootwatch.yaml", "machine: pantry\n")
    assert read(places, Moment.ASKED).troubles == ()
    root.write("etc/bootwatch/bootwatch.yaml", "machin: hall\n")
    (trouble,) = read(places, Moment.WATCH).troubles
    assert "machin" in trouble.message
    assert json.loads((root.folder / "run/bootwatch/drift.json").read_text())["machine"] == "pantry"
    told = (root.folder / "run/bootwatch/motd").read_text()
    assert "bootwatch goes by its settings from before: " in told
