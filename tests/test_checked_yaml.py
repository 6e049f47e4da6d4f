"""Settings files: every mistake with its line and key, and nothing that can be used against us."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from bootwatch.checked_yaml import Settings, SettingsProblem, Value

FILE = Path("/etc/bootwatch/bootwatch.yaml")


def _mistakes(data: bytes | str, secret: bool = False) -> list[str]:
    with pytest.raises(SettingsProblem) as caught:
        Settings(FILE, secret).read(data.encode() if isinstance(data, str) else data)
    return [str(mistake) for mistake in caught.value.mistakes]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a: 1\nb: [1, 2\nc: 3\n", "line 3: this is not well-formed YAML"),
        ("a: 1\n\tb: 2\n", "line 2: this is not well-formed YAML"),
        ("a: &x 1\nb: 2\n", "line 1: anchors and aliases"),
        ("a: 1\nb: *x\n", "line 2: anchors and aliases"),
        ("a: 1\n---\nb: 2\n", "line 2: this is not well-formed YAML"),
        ("a: 1\nb: \x07\n", "line 2: there is a character"),
        ("[" * 5000, "line 1: this is nested deeper"),
        ("a: " + "x" * 300_000, "line 1: the file is larger than 256 KiB"),
    ],
)
def test_what_cannot_be_read_names_its_line(text: str, said: str) -> None:
    (mistake,) = _mistakes(text)
    assert mistake.startswith(said)


def test_bytes_that_are_no_text_name_their_line() -> None:
    assert _mistakes(b"a: 1\nb: \xff\n") == ["line 2: the file is not UTF-8 text"]


def test_a_bomb_of_aliases_goes_off_nowhere() -> None:
    bomb = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + n)}: &{chr(98 + n)} [*{chr(97 + n)}, *{chr(97 + n)}]\n" for n in range(24)
    )
    began = time.process_time()
    _mistakes(bomb)
    # All of it written out would be 2^25 values, which no computer has done by then.
    assert time.process_time() - began < 5


def test_a_tag_makes_nothing_happen(tmp_path: Path) -> None:
    settings = Settings(FILE)
    top = settings.read(f"a: !!python/object/apply:os.mkdir [{tmp_path}/made]\n".encode())
    assert not (tmp_path / "made").exists()
    assert settings.text(settings.fields(top, ("a",))["a"]) is None
    assert settings.mistakes[0].sentence == "here belongs a text"


def _top(settings: Settings, text: str) -> Value:
    value = settings.read(text.encode())
    assert value is not None
    return value


def test_all_mistakes_come_together_in_the_order_of_the_file() -> None:
    settings = Settings(FILE)
    fields = settings.fields(
        _top(settings, "nmae: x\nlist: 5\nflag: maybe\nlevel: lodu\nname: yes\nlevel: loud\n"),
        ("name", "list", "flag", "level", "other"),
        needed=("other",),
    )
    settings.items(fields["list"])
    settings.flag(fields["flag"])
    settings.text(fields["name"])
    settings.choice(fields["level"], "level", ["loud", "low"])
    with pytest.raises(SettingsProblem) as caught:
        settings.finish()
    assert caught.value.message.splitlines() == [
        f'{FILE}, line 1: the key "other" is missing',
        f'{FILE}, line 1, nmae: "nmae" is no key that is known; did you mean "name"?',
        f"{FILE}, line 2, list: here belongs a list: each item on a line of its own that begins with a "
        "hyphen",
        f"{FILE}, line 3, flag: here belongs true or false",
        f"{FILE}, line 5, name: is read as yes or no: put it in quotes if it is meant as text",
        f"{FILE}, line 6, level: this key stands here twice",
    ]
    assert caught.value.status == 2


def test_a_secret_file_tells_no_value() -> None:
    settings = Settings(FILE, secret=True)
    top = _top(settings, 'level: hushhush\n"to mailto://a:hushhush@x": 5\nflag: hushhush\n')
    fields = settings.fields(top, ("level", "flag"))
    settings.choice(fields["level"], "level", ["loud"])
    settings.flag(fields["flag"])
    with pytest.raises(SettingsProblem) as caught:
        settings.finish()
    assert len(caught.value.mistakes) == 3
    assert "hush" not in str(caught.value) + repr(caught.value.mistakes) + repr(top)
    broken = "a: 'hushhush\nb: @hushhush\n"
    assert "hush" not in str(_mistakes(broken, secret=True))


@pytest.mark.parametrize("text", ["", "# nothing\n", "---\n", "~\n"])
def test_an_empty_file_holds_nothing(text: str) -> None:
    assert Settings(FILE).read(text.encode()) is None
