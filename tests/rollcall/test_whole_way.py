"""From a loader that is gone to a line in the roll: the mail that is sent is the one that is read."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from tests.cli.commands import Commands
from tests.rollcall.mails import mbox
from tests.roots import FERNWICK_LOADER, Root
from tests.tell.smtp import Handler, mail_server

pytestmark = pytest.mark.long


def test_the_whole_way(hall: Root, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bootwatch, handler = Commands(hall, capsys), Handler()
    settings = hall.folder / "etc/bootwatch"
    settings.mkdir(parents=True, exist_ok=True)
    (settings / "bootwatch.yaml").write_text("machine: hall\nsign_of_life: 7\n")
    key = bootwatch("machine-key", "--make", "--json").document["key"]
    bootwatch.save()
    bootwatch("snapshot")
    hall.remove("vda", 1, FERNWICK_LOADER)
    bootwatch("snapshot")
    with mail_server(handler) as port:
        addresses = settings / "addresses.yaml"
        addresses.write_text(f"addresses: [{{to: 'mailto://127.0.0.1:{port}/?from=pc@b.org&to=a@b.org'}}]\n")
        addresses.chmod(0o600)
        assert bootwatch("send").status == 0
    # The sign of life that was due too is not sent: the alert carries the state.
    assert len(handler.mails) == 1
    box = mbox(tmp_path / "box", [mail.as_bytes() for mail in handler.mails])
    (tmp_path / "known").write_text(f"{key} hall\n")
    now = datetime.datetime.now(datetime.UTC).isoformat()
    status = main(["rollcall", str(box), "--known", str(tmp_path / "known"), "--json", "--now", now])
    said = json.loads(capsys.readouterr().out)
    (row,) = said["machines"]
    assert (status, said["passed_over"], said["unproven"]) == (1, {}, [])
    assert (row["condition"], row["level"], row["alert"], row["snapshot"]) == ("alert", "diverted", "a1", 3)
    assert row["next_start"] == {"system": "Quarry", "expected": False}
