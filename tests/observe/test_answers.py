"""The same questions once more: which answers are the same, and what may go unread."""

import datetime
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from bootwatch.observe import answers
from bootwatch.observe.answers import Answers, Questioned, answers_the_same
from bootwatch.observe.machine import Machine


def _asked(root: Path) -> Answers:
    """Some questions of each kind, as readings ask them."""
    machine = Questioned(root)
    machine.names("folder")
    machine.text_or_none("folder/one")
    machine.text_or_none("absent")
    machine.is_folder("folder")
    machine.link("link")
    machine.read_once("folder/two", 10, 20)
    machine.about(machine.locate("link"))
    machine.listed(machine.locate("folder"))
    with machine.open("device") as device:
        device.seek(0, os.SEEK_END)
        device.seek(100)
        device.read(50)
    return machine.taken


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder/one").write_text("one")
    (tmp_path / "folder/two").write_text("two")
    (tmp_path / "link").symlink_to("folder/one")
    (tmp_path / "device").write_bytes(bytes(range(256)))
    return tmp_path


def _patch(path: Path, at: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(at)
        file.write(data)


def test_the_same_answers(root: Path) -> None:
    taken = _asked(root)
    assert answers_the_same(Machine(root), taken.entries)
    _patch(root / "device", 99, b"?")  # nobody read that byte
    _patch(root / "device", 150, b"?")
    assert answers_the_same(Machine(root), taken.entries)


@pytest.mark.parametrize(
    "change",
    [
        lambda root: (root / "folder/three").touch(),
        lambda root: (root / "folder/one").unlink(),
        lambda root: (root / "absent").touch(),
        lambda root: _patch(root / "folder/one", 0, b"O"),
        lambda root: _patch(root / "folder/two", 0, b"T"),
        lambda root: os.utime(root / "folder/two", (1, 1)),
        lambda root: [(root / "link").unlink(), (root / "link").symlink_to("folder/two")],
        lambda root: _patch(root / "device", 100, b"?"),
        lambda root: _patch(root / "device", 149, b"?"),
        lambda root: _patch(root / "device", 256, b"?"),
        lambda root: (root / "device").unlink(),
    ],
)
def test_another_answer(root: Path, change: Callable[[Path], object]) -> None:
    taken = _asked(root)
    change(root)
    assert not answers_the_same(Machine(root), taken.entries)


@pytest.mark.parametrize(
    "entry",
    [[], ["read"], ["__class__", "x"], ["at", 7, 0, 1, "x"], ["at", "x", 0, 1, "x"], ["content", 5, "x"]],
)
def test_nonsense_is_another_answer(root: Path, entry: list[object]) -> None:
    assert not answers_the_same(Machine(root), [entry])


NOW = datetime.datetime(2026, 11, 27, 12, 0, 3, tzinfo=datetime.UTC)


@pytest.mark.parametrize(
    ("text", "is_whole"),
    [
        ("2026-11-27T12:00:02", False),  # another change in the same two seconds would show in nothing else
        ("2026-11-27T05:30:02", False),  # in some zone's time
        ("2026-11-28T02:45:02", False),
        ("2026-11-27T11:59:30", True),
        ("2026-11-20T12:00:02", True),
        ("", True),
    ],
)
def test_what_was_changed_just_now(text: str, is_whole: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    taken = Answers()
    monkeypatch.setattr(taken, "_began", NOW)
    taken.note_time(text)
    assert taken.is_whole is is_whole


def test_a_time_on_a_mounted_volume(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not _asked(root).is_whole
    monkeypatch.setattr(answers, "_TICK", -60)  # as if a minute had gone by
    assert _asked(root).is_whole


def test_nothing_reads_the_machine_past_its_door() -> None:
    """Else what is asked in that way would not be asked again."""
    past = re.compile(
        r"\bos\.(l?stat|scandir|listdir|statvfs|open|readlink|walk)\b|(?<![.\w])open\(|\bPath\("
    )
    doors = {"machine.py", "answers.py"}
    found = [
        f"{file.name}: {line.strip()}"
        for file in sorted(Path(answers.__file__).parent.glob("*.py"))
        if file.name not in doors
        for line in file.read_text().splitlines()
        if past.search(line)
    ]
    assert found == []
