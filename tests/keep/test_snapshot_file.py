"""Snapshots in files: what comes back, and what is said of a file that somebody edited."""

from __future__ import annotations

import io
import json
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep import snapshot_file
from bootwatch.keep.snapshot_file import FORMAT, Kept, open_file, read, write
from bootwatch.problem import Problem, UsageProblem
from tests.judge.states import FERNWICK, FERNWICK_PART, QUARRY_PART
from tests.keep.kept import document, kept

Edit = Callable[[dict[str, Any]], object]
VOLUME = f"volume:gpt:{FERNWICK_PART}"


def read_back(document: Any) -> Kept:
    return read(io.BytesIO(json.dumps(document).encode()), "hall.json")


def test_a_snapshot_comes_back_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "hall.json"
    write(path, kept().to_json())
    with open_file(str(path)) as file:
        assert read(file, "hall.json") == kept()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    written = json.loads(path.read_text())
    assert written["format"] == "bootwatch/kept-snapshot/1"
    assert (written["machine"], written["number"]) == ("hall", 3)
    assert list(tmp_path.iterdir()) == [path]


def test_what_a_later_version_added_is_left_out() -> None:
    added = document() | {"mood": "good"}
    added["circumstance"]["weather"] = {"rain": True}
    added["state"]["tables"]["gpt:first"]["colour"] = "red"
    added["state"]["garden"] = {"roses": 3}
    assert read_back(added) == kept()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\x7fELF\x02\x01\x01\0", "no snapshot file, or a damaged one: it is not JSON"),
        (b"", "it is not JSON"),
        (b'{"format": "bootwatch/kept-snap', "it is not JSON"),
        (b"[" * 100_000, "it is not JSON"),
        (b"[1, 2]", f'no snapshot file: it doesn\'t say "format": "{FORMAT}"'),
        (b'{"format": "bootwatch/drift/1"}', "no snapshot file"),
        (b'{"format": 1}', "no snapshot file"),
        (b'{"format": "bootwatch/kept-snapshot/1"}', "it lacks machine, number, circumstance, gaps, state"),
        (
            b'{"format": "bootwatch/kept-snapshot/2"}',
            "has the format bootwatch/kept-snapshot/2; this bootwatch",
        ),
    ],
)
def test_what_is_no_snapshot_file(raw: bytes, said: str) -> None:
    with pytest.raises(Problem) as raised:
        read(io.BytesIO(raw), "hall.json")
    assert raised.value.message.startswith("hall.json ") and said in raised.value.message
    assert raised.value.hint and raised.value.status == 3


EDITS: dict[str, Edit] = {
    "machine: this is not a text": lambda one: one.update(machine=7),
    "number: this is not a whole number": lambda one: one.update(number=True),
    "number: this number is too large": lambda one: one.update(number=1 << 70),
    "'moment' is missing": lambda one: one["circumstance"].pop("moment"),
    "'lunch' is not a valid Moment": lambda one: one["circumstance"].update(moment="lunch"),
    "circumstance, time: this is not a text": lambda one: one["circumstance"].update(time=None),
    "circumstance, mounts, gpt:x: this is not": lambda one: one["circumstance"].update(mounts={"gpt:x": 1}),
    "something in it is not of its kind": lambda one: one.update(gaps=[{"scope": {}}]),
    "gaps, 1, path: this is not a text": lambda one: one["gaps"][0]["scope"].update(path=5),
    f"state, volumes, gpt:{FERNWICK_PART}, files, {FERNWICK}, size: this is not a whole number": (
        lambda one: one["state"][VOLUME][FERNWICK].update(size="large")
    ),
    f"state, gpt:{FERNWICK_PART}: it calls itself gpt:{QUARRY_PART}": (
        lambda one: one["state"][VOLUME]["volume"].update(identity=f"gpt:{QUARRY_PART}")
    ),
    "state, gpt:first: it calls itself gpt:other": (
        lambda one: one["state"]["tables"]["gpt:first"].update(key="gpt:other")
    ),
    "state, facts, fstab: this is not a list": lambda one: one["state"]["facts"].update(fstab="none"),
    "state, facts, machine_id: this is not a text": lambda one: one["state"]["facts"].update(machine_id=5),
    "non-hexadecimal": lambda one: next(iter(one["state"]["variables"].values())).update(data="zz"),
}


@pytest.mark.parametrize("said", EDITS)
def test_an_edited_file_is_told_in_one_line(said: str) -> None:
    edited = document()
    EDITS[said](edited)
    with pytest.raises(Problem) as raised:
        read_back(edited)
    assert said in raised.value.message
    assert len(raised.value.message.splitlines()) == 1


def test_names_in_a_file_do_not_make_lines_of_their_own() -> None:
    edited = document()
    edited["circumstance"]["mounts"] = {"x\nbootwatch: all is well." + "x" * 5000: 1}
    with pytest.raises(Problem) as raised:
        read_back(edited)
    assert len(raised.value.message.splitlines()) == 1 and len(raised.value.message) < 500


def test_a_file_larger_than_any_snapshot(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(snapshot_file, "LIMIT", 1000)
    with pytest.raises(Problem, match=r"hall.json is larger than any snapshot file"):
        read(io.BytesIO(b" " * 1001), "hall.json")
    with pytest.raises(Problem, match="too large for a file"):
        write(tmp_path / "hall.json", document())
    assert not list(tmp_path.iterdir())


def test_a_file_that_is_there_is_replaced_only_when_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "hall.json"
    path.write_text("my notes")
    with pytest.raises(UsageProblem, match="is there already"):
        write(path, document())
    assert path.read_text() == "my notes"
    write(path, document(), replace=True)
    assert json.loads(path.read_text()) == document()


def test_only_a_plain_file_is_ever_replaced(tmp_path: Path) -> None:
    notes = tmp_path / "notes"
    notes.write_text("my notes")
    link = tmp_path / "link"
    link.symlink_to(notes)
    for path in (link, tmp_path):
        with pytest.raises(UsageProblem, match="it is no plain file"):
            write(path, document(), replace=True)
    assert notes.read_text() == "my notes" and link.is_symlink()


def test_where_nothing_can_be_written(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"can't be written: No such file or directory"):
        write(tmp_path / "nowhere/hall.json", document())


@pytest.mark.parametrize("name", ["nowhere.json", "", "/dev/fd/999999", "nul\0"])
def test_a_file_that_cannot_be_opened(name: str) -> None:
    with pytest.raises(UsageProblem):
        open_file(name)


def test_an_open_file_that_was_handed_over(tmp_path: Path) -> None:
    path = tmp_path / "hall.json"
    write(path, document())
    with path.open("rb") as handed:
        path.unlink()  # nobody could open it anew
        with open_file(f"/dev/fd/{handed.fileno()}") as file:
            assert read(file, "hall.json") == kept()
        os.fstat(handed.fileno())  # it is still open: whoever opened it closes it
