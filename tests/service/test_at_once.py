"""The service, a person and the sender at the same moment: nothing is torn, lost or doubled."""

from __future__ import annotations

import fcntl
import json
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep.receipts import Receipts
from bootwatch.keep.spool import Spool, receipt_name
from bootwatch.tell import board
from tests.roots import QUARRY_LOADER, dual, program
from tests.service.killing import Machine
from tests.service.spooled import to
from tests.strace import PROJECT
from tests.tell.smtp import Handler, mail_server

SAVE = ("baseline", "save", "--reason", "at once", "--yes")
AT_ONCE = (("snapshot",), SAVE, ("send",), ("snapshot", "--moment", "boot"), SAVE, ("send",), ("drift",))


def run_at_once(machine: Machine) -> None:
    running = [
        subprocess.Popen(
            machine.command(*words), cwd=PROJECT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True,
        )
        for words in AT_ONCE
    ]  # fmt: skip
    for words, one in zip(AT_ONCE, running, strict=True):
        _, err = one.communicate(timeout=300)
        assert one.returncode in ((0, 1) if words[0] in ("drift", "send") else (0,)), (words, err)
        assert err == "", words


def play(machine: Machine, rounds: int) -> None:
    assert machine(*SAVE).status == 0
    for number in range(rounds):
        # Gone, and back: news for whoever reads first, unless it is called good by then.
        content = b"" if number % 3 == 0 else program(f"quarry {number % 3}")
        machine.root.put("vdb", 1, QUARRY_LOADER, content)
        run_at_once(machine)
        machine.require_whole()
        shown = json.loads((machine.root.folder / "run/bootwatch/routes.json").read_text())
        assert shown["snapshot"] == machine.kept().snapshots[0], "an older reading's is left"
    assert machine("snapshot").status == 0
    assert machine("send").status == 0


def require_nothing_doubled(machine: Machine, handler: Handler, saved: int) -> None:
    """In one round a save may come before all who read: then there is nothing to tell."""
    kept = machine.kept()
    assert kept.snapshots == tuple(range(len(kept.snapshots), 0, -1))
    assert machine.unsettled() == 0
    # Two that were saved in one second, of one snapshot, are alike, and two all the same.
    assert len(list(machine.places.baseline.glob("*.yaml"))) == saved, "each that was saved is kept"
    assert len((machine.places.baseline / "log").read_text().splitlines()) == saved
    told = [(alert, stage) for _, alert, stage, _ in kept.messages.values()]
    assert len(told) == len(set(told))
    delivered = [
        receipt
        for path, _ in Spool(machine.places.spool).messages(lambda path, why: None)
        for receipt in Receipts(machine.places.receipts).read(receipt_name(path)).receipts.values()
        if receipt.outcome == "delivered"
    ]
    copies = Counter(str(mail["Message-ID"]) for mail in handler.mails)
    assert set(copies.values()) <= {1} and len(copies) == len(delivered)
    assert not machine.leftovers()


@pytest.mark.parametrize(
    "rounds", [pytest.param(1, marks=pytest.mark.long), pytest.param(50, marks=pytest.mark.whole)]
)
def test_at_once(tmp_path: Path, rounds: int) -> None:
    machine, handler = Machine(dual(tmp_path / "machine")), Handler()
    with mail_server(handler) as port:
        machine.places.addresses.parent.mkdir(parents=True, exist_ok=True)
        machine.places.addresses.write_text(f"addresses: [{to(port, least='changed')}]\n")
        machine.places.addresses.chmod(0o600)
        play(machine, rounds)
    require_nothing_doubled(machine, handler, saved=1 + 2 * rounds)


@pytest.mark.long
def test_what_is_found_is_left_before_another_reading_begins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A slow reading would leave what it found over what a newer one did."""
    machine, left = Machine(dual(tmp_path / "machine")), []
    whole = board.publish_document

    def publish(*arguments: Any) -> None:
        with (machine.places.history / "lock").open() as lock, pytest.raises(BlockingIOError):
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        left.append(arguments[1])
        whole(*arguments)

    monkeypatch.setattr(board, "publish_document", publish)
    assert machine("snapshot").status == 0
    assert machine(*SAVE).status == 0
    assert "routes.json" in left[1:] and len(left) >= 2
