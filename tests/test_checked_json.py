"""Settings as JSON, as a recovery kit carries them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bootwatch.checked_json import FORMAT
from bootwatch.checked_yaml import SettingsProblem
from bootwatch.config import Config, carried_settings

FILE = Path("settings.json")
WHOLE = """\
machine: hall
systems:
  - {name: Workshop, join: [Fernwick Linux, 'gpt:1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01'], called: the blue one}
  - {name: Tarn Rescue, join: Tarn, hide: yes}
levels: [{change: file-added, system: Quarry, level: routine}]
accept: weakened
looked_after_by: {name: Ada, phone: 0123456}
sign_of_life: 7
"""


def carried(text: str | None, folder: Path) -> tuple[Config, Config]:
    path = folder / "bootwatch.yaml"
    if text is not None:
        path.write_text(text)
    return Config.load(path), Config.carried(FILE, carried_settings(path))


@pytest.mark.parametrize("text", [WHOLE, "", None])
def test_they_say_the_same(text: str | None, tmp_path: Path) -> None:
    own, found = carried(text, tmp_path)
    assert found == own


def test_telephone_number_keeps_its_first_digit(tmp_path: Path) -> None:
    assert carried(WHOLE, tmp_path)[1].care.phone == "0123456"


DEEP = "[" * 50 + "]" * 50
BAD = {
    "no JSON": "{",
    "nested without end": "[" * 100_000,
    "no object": "[]",
    "another format": json.dumps({"format": "bootwatch/settings/2", "settings": None}),
    "a key that is none": json.dumps({"format": FORMAT, "settings": {"machin": "hall"}}),
    "a list for a text": json.dumps({"format": FORMAT, "settings": {"machine": []}}),
    "too deep": f'{{"format": "{FORMAT}", "settings": {{"machine": {DEEP}}}}}',
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_wrong_is_named(name: str) -> None:
    with pytest.raises(SettingsProblem, match=r"settings\.json, line 1"):
        Config.carried(FILE, BAD[name].encode())


def test_file_with_a_mistake_is_not_carried(tmp_path: Path) -> None:
    (tmp_path / "bootwatch.yaml").write_text("machin: hall")
    with pytest.raises(SettingsProblem):
        carried_settings(tmp_path / "bootwatch.yaml")
