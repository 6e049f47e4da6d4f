"""The settings that packaging/install lays down: as they are, and with their comment signs taken away."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bootwatch import addresses
from bootwatch.config import Config
from bootwatch.model.level import Level
from bootwatch.places import Places

EXAMPLES = Path(__file__).parents[2] / "packaging/examples"


def uncommented(name: str) -> str:
    """The settings without their comment signs. In a comment that explains, one space follows the sign."""
    text = (EXAMPLES / name).read_text()
    return re.sub(r"^#(?=\S|  )", "", text, flags=re.MULTILINE)


@pytest.fixture
def places(tmp_path: Path) -> Places:
    folder = tmp_path / "etc/bootwatch"
    folder.mkdir(parents=True)
    return Places.below(tmp_path)


def test_as_they_are_they_say_nothing(places: Places) -> None:
    for name in ("bootwatch.yaml", "addresses.yaml"):
        file = places.config.with_name(name)
        file.write_text((EXAMPLES / name).read_text())
        file.chmod(0o600)
    assert Config.load(places.config) == Config()
    assert addresses.load(places, {}) == []


def test_each_example_setting_is_valid(places: Places) -> None:
    places.config.write_text(uncommented("bootwatch.yaml"))
    config = Config.load(places.config)
    assert config.machine == "study"
    assert [system.name for system in config.systems] == [
        "Fernwick Linux",
        "Fernwick Linux on the old disk",
        "Tarn Rescue",
        "Quarry",
    ]
    assert len(config.levels) == 2
    assert (config.care.phone, config.care.menu_key, config.sign_of_life) == ("01234 567890", "F9", 7)


def test_each_example_address_is_valid(places: Places) -> None:
    places.addresses.write_text(uncommented("addresses.yaml"))
    places.addresses.chmod(0o600)
    found = addresses.load(places, {})
    assert [(one.name, one.least) for one in found] == [("Anna", Level.WEAKENED), ("workshop", Level.CHANGED)]
