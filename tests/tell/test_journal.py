"""Journal records, as they go over the journal's own socket."""

from __future__ import annotations

import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from bootwatch.model.change import Drift
from bootwatch.places import Places
from bootwatch.tell.journal import ADDRESSES_ID, ALERT_ID, UNTOLD_ID, alert_fields, alert_text, announce
from tests.tell.samples import (
    ENTRY_MISSING,
    NO_WAY,
    ORDER_CHANGED,
    SEED_CHANGED,
    harmful,
    hostile_drift,
    message,
)

PROJECT = Path(__file__).parents[2]

# In a mount namespace of its own: the journal's socket lies at a fixed place.
IN_A_NAMESPACE = textwrap.dedent("""
    import os, socket, subprocess, sys
    subprocess.run(["mount", "-t", "tmpfs", "tmpfs", "/run"], check=True)
    os.makedirs("/run/systemd/journal")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as journal:
        journal.bind("/run/systemd/journal/socket")
        journal.settimeout(5)
        from bootwatch.places import Places
        from bootwatch.tell.journal import announce
        from tests.tell.samples import message
        announce(message(), Places.below("/"))
        sys.stdout.buffer.write(journal.recv(65536))
""")


def _namespaces() -> bool:
    try:
        return subprocess.run(["unshare", "-Urm", "true"], capture_output=True).returncode == 0
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not _namespaces(), reason="needs namespaces")
def test_a_record_reaches_the_journals_socket() -> None:
    pytest.importorskip("systemd.journal")
    command = ["unshare", "-Urm", sys.executable, "-c", IN_A_NAMESPACE]
    result = subprocess.run(command, capture_output=True, cwd=PROJECT, timeout=20)
    assert result.stderr == b""
    lines = result.stdout.decode().splitlines()
    assert f"MESSAGE_ID={ALERT_ID}" in lines
    assert "PRIORITY=4" in lines
    assert [line for line in lines if line.startswith("BOOTWATCH_CHANGE=")] == [
        "BOOTWATCH_CHANGE=entry-missing:7c1e",
        "BOOTWATCH_CHANGE=loader-missing:7c1e",
        "BOOTWATCH_CHANGE=order-changed:7c1e",
        "BOOTWATCH_CHANGE=file-changed:7c1e",
    ]
    assert {"BOOTWATCH_LEVEL=weakened", "BOOTWATCH_MACHINE=reading-room-3", "BOOTWATCH_SNAPSHOT=5"} <= set(
        lines
    )
    assert any(line.startswith("MESSAGE=reading-room-3: 2 of 3 changes weaken") for line in lines)


def test_only_what_is_new_is_recorded_at_its_own_level() -> None:
    fields = alert_fields(message(news=(ORDER_CHANGED.id,)))
    assert ("PRIORITY", "5") in fields and ("BOOTWATCH_LEVEL", "changed") in fields
    assert ENTRY_MISSING.id not in dict(fields).values()


def test_a_new_finding_is_recorded_like_a_change() -> None:
    alone = message(Drift((SEED_CHANGED,), (NO_WAY,), ()), news=(NO_WAY.id,))
    fields = alert_fields(alone)
    assert [value for name, value in fields if name == "BOOTWATCH_FINDING"] == [NO_WAY.id]
    assert ("PRIORITY", "2") in fields and "BOOTWATCH_CHANGE" not in dict(fields)
    assert alert_text(alone) == (
        "reading-room-3: 1 finding keeps a system from starting; no change that matters. No way to start "
        "Fernwick Linux is left, though nothing that it starts from has changed."
    )


def test_hostile_text_cannot_add_a_field() -> None:
    record = message(hostile_drift())
    for text in (alert_text(record), *(value for _, value in alert_fields(record))):
        assert not harmful(text) and "\n" not in text


def test_another_machines_alert_is_not_recorded_here(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    announce(message(), Places.below(tmp_path))
    assert capsys.readouterr().err == ""


def test_the_catalog_explains_each_record() -> None:
    catalog = (PROJECT / "units/bootwatch.catalog").read_text()
    assert re.findall(r"^-- (\w{32})$", catalog, re.M) == [ALERT_ID, ADDRESSES_ID, UNTOLD_ID]
