"""What somebody left who took over the reader or the sender: nobody waits for it, nobody follows it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from bootwatch.cli.showing import left_by_reader
from bootwatch.keep.receipts import Account, Receipts
from bootwatch.keep.spool import Spool
from bootwatch.places import Places
from bootwatch.service.left import left_for_all
from tests.tell.samples import message

DOCUMENT = '{"time": "2026-11-27T10:00:00Z"}'


def link(path: Path) -> None:
    path.with_name("elsewhere").write_text(DOCUMENT)
    path.symlink_to("elsewhere")


def deep(path: Path) -> None:
    path.write_bytes(b"[" * 100_000)


def endless(path: Path) -> None:
    path.write_text(DOCUMENT)
    os.truncate(path, 1 << 40)


LEFT: list[Callable[[Path], None]] = [os.mkfifo, link, deep, endless, Path.mkdir]


@pytest.mark.parametrize("leave", LEFT)
def test_what_is_left_for_everybody(tmp_path: Path, leave: Callable[[Path], None]) -> None:
    run = tmp_path / "run/bootwatch"
    run.mkdir(parents=True)
    leave(run / "alert.json")
    assert left_for_all(Places.below(tmp_path), "alert.json") is None
    assert left_by_reader(Places.below(tmp_path), "alert.json") is None


@pytest.mark.parametrize("leave", LEFT)
def test_messages_and_receipts(tmp_path: Path, leave: Callable[[Path], None]) -> None:
    spool, said = Spool(tmp_path), list[str]()
    spool.put(message(identity="a"))
    leave(tmp_path / "000000000-bad.json")
    assert [one.id for _, one in spool.messages(lambda path, why: said.append(path.name))] == ["a"]
    assert said == ["000000000-bad.json"]
    assert Receipts(tmp_path).read("000000000-bad.json") == Account()
