"""Messages handed from the reader to the sender."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep.spool import Spool
from tests.tell.samples import hostile_drift, message


def _nobody(path: Path, why: str) -> None:
    pytest.fail(f"{path}: {why}")


def _list(spool: Spool) -> tuple[list[str], dict[str, str]]:
    damaged: dict[str, str] = {}
    found = [item.id for _, item in spool.messages(lambda path, why: damaged.update({path.name: why}))]
    return found, damaged


def test_messages_come_back_whole_and_oldest_first(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool")
    later, earlier = message(identity="a", snapshot=12), message(hostile_drift(), identity="../b", snapshot=9)
    spool.put(later)
    spool.put(earlier)
    spool.put(earlier)
    assert [item for _, item in spool.messages(_nobody)] == [earlier, later]
    assert all(path.parent == spool.folder for path, _ in spool.messages(_nobody))


def test_messages_of_one_snapshot_come_in_the_order_of_their_stages(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool")
    stages = [replace(message(identity=f"m{stage}", snapshot=9), stage=stage) for stage in range(1, 12)]
    for one in reversed(stages):
        spool.put(one)
    assert [item.stage for _, item in spool.messages(_nobody)] == list(range(1, 12))


def test_no_folder_holds_no_message(tmp_path: Path) -> None:
    assert _list(Spool(tmp_path / "none")) == ([], {})


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"null",
        b"[]",
        b'{"format": "bootwatch/message/2"}',
        b'{"format": "bootwatch/message/1"}',
        b"\xff\xfe",
        b"[" * 100_000,
    ],
)
def test_a_damaged_file_is_told_and_the_others_still_come(tmp_path: Path, content: bytes) -> None:
    spool = Spool(tmp_path)
    spool.put(message(identity="good"))
    (tmp_path / "000000001-bad.json").write_bytes(content)
    found, damaged = _list(spool)
    assert found == ["good"]
    assert list(damaged) == ["000000001-bad.json"] and damaged["000000001-bad.json"]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("level", "dreadful"),
        ("what", 5),
        ("system", ["x"]),
        ("between", [1]),
        ("between", ["a", 2]),
        ("accepted", 1),
        ("evidence", [{"trace": "packages", "sentence": None}]),
        ("evidence", [{"trace": "hearsay", "sentence": "x"}]),
    ],
)
def test_a_message_with_a_value_that_cannot_be_is_damaged(tmp_path: Path, key: str, value: object) -> None:
    path = Spool(tmp_path).put(message())
    document = json.loads(path.read_text())
    document["drift"]["changes"][0][key] = value
    path.write_text(json.dumps(document))
    assert _list(Spool(tmp_path))[0] == []


def test_what_a_cut_left_behind_is_no_message(tmp_path: Path) -> None:
    path = Spool(tmp_path).put(message())
    (tmp_path / f".{path.name}.x1y2").write_bytes(path.read_bytes()[:50])
    found, damaged = _list(Spool(tmp_path))
    assert (found, damaged) == (["5-1f"], {})


def test_removing_twice_is_fine(tmp_path: Path) -> None:
    spool = Spool(tmp_path)
    path = spool.put(message())
    spool.remove(path)
    spool.remove(path)
    assert _list(spool) == ([], {})
