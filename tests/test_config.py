"""bootwatch.yaml."""

from __future__ import annotations

from pathlib import Path

import pytest

from bootwatch.config import Config, SystemSetting
from bootwatch.judge.naming import Naming
from bootwatch.judge.weigh import Rule
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.problem import UsageProblem


def _load(tmp_path: Path, text: str) -> Config:
    file = tmp_path / "bootwatch.yaml"
    file.write_text(text)
    return Config.load(file)


def test_an_absent_or_empty_file_means_the_defaults(tmp_path: Path) -> None:
    assert Config.load(tmp_path / "none.yaml") == Config() == _load(tmp_path, "# nothing yet\n")


def test_everything_that_can_be_set(tmp_path: Path) -> None:
    config = _load(
        tmp_path,
        """
machine: study
systems:
  - name: Fernwick
    join: [Fernwick Linux, fernwick]
  - {name: Tarn Rescue, join: tarn, hide: true}
levels:
  - {change: file-changed, path: '\\loader\\entries\\*', level: changed}
  - system: Tarn Rescue
    level: routine
""",
    )
    assert config.machine == "study"
    assert config.systems == (
        SystemSetting("Fernwick", ("Fernwick Linux", "fernwick")),
        SystemSetting("Tarn Rescue", ("tarn",), hide=True),
    )
    assert config.system_names == Naming(
        {
            "FERNWICK": "Fernwick",
            "FERNWICK LINUX": "Fernwick",
            "TARN RESCUE": "Tarn Rescue",
            "TARN": "Tarn Rescue",
        },
        frozenset({"TARN RESCUE"}),
    )
    assert config.levels == (
        Rule(Level.CHANGED, "file-changed", None, "\\loader\\entries\\*"),
        Rule(Level.ROUTINE, None, "Tarn Rescue", None),
    )
    assert config.weights.level("file-changed", None, "\\LOADER\\entries\\a.conf") is Level.CHANGED
    assert config.weights.level("entry-missing", "tarn rescue", "") is Level.ROUTINE
    assert config.weights.level("partition-retyped", "Quarry", "") is Level.WEAKENED


def test_each_mistake_names_file_line_and_key(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem) as caught:
        _load(
            tmp_path,
            """machin: study
systems:
  - join: [a]
  - {name: X, join: A, hide: 5}
levels:
  - {change: entry-mising, level: weakend}
  - {level: routine}
  - 7
""",
        )
    file = tmp_path / "bootwatch.yaml"
    assert caught.value.status == 2
    assert caught.value.message.splitlines() == [
        f'{file}, line 1, machin: "machin" is no key that is known; did you mean "machine"?',
        f'{file}, line 3, systems[0]: the key "name" is missing',
        f"{file}, line 4, systems[1].hide: here belongs true or false",
        f'{file}, line 4, systems[1].join: "A" was joined in line 3 already',
        f'{file}, line 6, levels[0].change: "entry-mising" is no change that is known; '
        'did you mean "entry-missing"?',
        f'{file}, line 6, levels[0].level: "weakend" is no level that is known; did you mean "weakened"?',
        f"{file}, line 7, levels[1]: this would hold for everything: give change, system or path",
        f"{file}, line 8, levels[2]: here belong keys with values (change, system, path, level)",
    ]


def test_a_system_can_be_meant_by_its_volume_or_folder(tmp_path: Path) -> None:
    guid = "1F3B7C58-2F0E-4A51-9A55-0F6A7D1C2E01"
    config = _load(
        tmp_path,
        f"""
systems:
  - {{name: Fernwick, join: ['GPT:{guid}', '\\EFI\\fernwick']}}
  - {{name: Old, join: 'gpt:{guid}\\EFI\\old\\'}}
  - {{name: Third, join: ['mbr:1a2b3c4d-01', 'fat:12AB-34CD', 'Rescue: the red one']}}
""".replace("\\\\", "\\"),
    )
    assert [system.join for system in config.systems] == [
        (f"gpt:{guid.lower()}", "\\EFI\\fernwick"),
        (f"gpt:{guid.lower()}\\EFI\\old",),
        ("mbr:1a2b3c4d-01", "fat:12AB-34CD", "Rescue: the red one"),
    ]


def test_a_volume_that_is_none_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem) as caught:
        _load(
            tmp_path, "systems:\n  - name: Fernwick\n    join:\n      - a\n      - 'gpt:1f3b7c58\\EFI\\a'\n"
        )
    assert caught.value.message == (
        f"{tmp_path / 'bootwatch.yaml'}, line 5, systems[0].join[1]: "
        '"gpt:1f3b7c58\\EFI\\a" is no volume: one is called gpt:PARTUUID, '
        "mbr:SIGNATURE-NUMBER or fat:SERIAL, as bootwatch shows it"
    )


def test_a_file_that_cannot_be_read_is_a_mistake_of_one_line(tmp_path: Path) -> None:
    (tmp_path / "bootwatch.yaml").mkdir()
    with pytest.raises(UsageProblem, match=r"bootwatch\.yaml can't be read: Is a directory"):
        Config.load(tmp_path / "bootwatch.yaml")


def test_what_is_for_the_owner(tmp_path: Path) -> None:
    config = _load(
        tmp_path,
        """
systems:
  - {name: Quarry, called: the old system}
looked_after_by: {name: Anna, phone: '01234 567890'}
menu_key: F9
stick: in the drawer
language: de
sign_of_life: 7
keep_snapshots: 500
kit_to: /mnt/stick
recovery_key_at: in the green folder
""",
    )
    assert config.care == Care(
        "Anna", "01234 567890", "F9", "in the drawer", "de", {"Quarry": "the old system"}
    )
    assert (config.sign_of_life, config.keep_snapshots) == (7, 500)
    assert config.kit_to == Path("/mnt/stick")
    assert config.recovery_key_at == "in the green folder"


@pytest.mark.parametrize(
    ("text", "mistake"),
    [
        ("keep_snapshots: 499", "a number of snapshots from 500 to 1000000"),
        ("sign_of_life: 0", "a number of days from 1 to 366"),
        ("sign_of_life: weekly", "a number of days from 1 to 366"),
        ("kit_to: stick", "a folder, named from the root on"),
        ("language: fr", '"fr" is no language that is known'),
        ("looked_after_by: {phone: '1'}", 'the key "name" is missing'),
    ],
)
def test_mistakes_in_what_is_for_the_owner(tmp_path: Path, text: str, mistake: str) -> None:
    with pytest.raises(UsageProblem, match=mistake):
        _load(tmp_path, text)
