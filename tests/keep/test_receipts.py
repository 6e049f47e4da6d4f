"""Receipts of what was delivered, and sweeping what is settled."""

from __future__ import annotations

import datetime
import json
import os
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.keep.receipts import Account, Receipt, Receipts, sweep
from bootwatch.keep.spool import Spool
from tests.tell.samples import message

NOW = datetime.datetime(2026, 11, 25, 7, 0, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)
RECEIPT = Receipt("Anna", "delivered", "", 1, NOW.isoformat(), NOW.isoformat(), None, True, "s")


def _receipts(tmp_path: Path) -> Receipts:
    receipts = Receipts(tmp_path / "send", lambda: NOW)
    receipts.open()
    return receipts


def test_what_is_written_is_read(tmp_path: Path) -> None:
    receipts = _receipts(tmp_path)
    assert receipts.read("a.json") == Account()
    receipts.write("a.json", Account({"k": RECEIPT}, settled=True))
    account = receipts.read("a.json")
    assert account.receipts == {"k": RECEIPT} and account.settled and account.reached_somebody


def test_digests_need_the_folders_own_key_which_only_the_sender_can_read(tmp_path: Path) -> None:
    first, other = _receipts(tmp_path), _receipts(tmp_path / "other")
    assert first.digest(b"x") == _receipts(tmp_path).digest(b"x")
    assert first.digest(b"x") != first.digest(b"y")
    assert first.digest(b"x") != other.digest(b"x")
    assert stat.S_IMODE((tmp_path / "send/key").stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{}",
        b"[1]",
        b'{"format": "bootwatch/receipts/2"}',
        json.dumps({"format": "bootwatch/receipts/1", "addresses": {"k": 5}, "settled": True}).encode(),
        json.dumps(
            {
                "format": "bootwatch/receipts/1",
                "addresses": {"k": {**RECEIPT.__dict__, "last_try": "2026-11-25"}},
                "settled": True,
                "updated": NOW.isoformat(),
            }
        ).encode(),
    ],
)
def test_damaged_receipts_are_none(tmp_path: Path, content: bytes) -> None:
    receipts = _receipts(tmp_path)
    (tmp_path / "send/a.json").write_bytes(content)
    assert receipts.read("a.json") == Account()


def test_only_settled_and_old_messages_are_swept(tmp_path: Path) -> None:
    spool, receipts = Spool(tmp_path / "spool"), _receipts(tmp_path)
    paths = {name: spool.put(message(identity=name)) for name in ("settled", "open", "untouched")}
    receipts.write(paths["settled"].name, Account({"k": RECEIPT}, settled=True))
    receipts.write(paths["open"].name, Account({"k": replace(RECEIPT, final=False)}))
    sweep(spool, receipts.folder, lambda: NOW + 29 * DAY)
    assert all(path.exists() for path in paths.values())
    sweep(spool, receipts.folder, lambda: NOW + 31 * DAY)
    assert {name for name, path in paths.items() if path.exists()} == {"open", "untouched"}


def test_damaged_files_and_leftovers_are_swept_when_old(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool")
    good = spool.put(message())
    now = datetime.datetime.now(datetime.UTC)
    old = (now - 40 * DAY).timestamp()
    for name, moment in (
        ("000000001-a.json", old),
        ("000000002-b.json", now.timestamp()),
        (f".unfinished/.{good.name}.x", old),
    ):
        (spool.folder / name).write_bytes(b"{")
        os.utime(spool.folder / name, (moment, moment))
    sweep(spool, tmp_path / "none", lambda: now)
    assert {path.name for path in spool.folder.iterdir()} == {good.name, "000000002-b.json", ".unfinished"}
    assert list(spool.unfinished.iterdir()) == []


def test_sweeping_where_there_is_nothing_is_fine(tmp_path: Path) -> None:
    sweep(Spool(tmp_path / "none"), tmp_path / "nowhere")


def test_receipts_outlive_their_message_by_a_year(tmp_path: Path) -> None:
    receipts = _receipts(tmp_path)
    for name in ("gone.json", "spooled.json"):
        receipts.write(name, Account({"k": RECEIPT}, settled=True))
    later = Receipts(receipts.folder, lambda: NOW + 399 * DAY)
    later.prune({"spooled.json"})
    assert (receipts.folder / "gone.json").exists()
    Receipts(receipts.folder, lambda: NOW + 401 * DAY).prune({"spooled.json"})
    assert not (receipts.folder / "gone.json").exists() and (receipts.folder / "spooled.json").exists()
