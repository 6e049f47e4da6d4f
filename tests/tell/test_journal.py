"""Journal records, as they go over the journal's own socket."""

from __future__ import annotations

import re
import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.tell import journal
from bootwatch.tell.journal import (
    ALERT_ID,
    ALL_CLEAR_ID,
    REMINDER_ID,
    RESTORE_ID,
    alert_fields,
    alert_text,
    announce,
    restore_fields,
)
from tests.tell.journals import has_namespaces
from tests.tell.samples import (
    DRIFT,
    ENTRY_MISSING,
    HOSTILE,
    NO_WAY,
    ORDER_CHANGED,
    QUIET,
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


@pytest.mark.skipif(not has_namespaces(), reason="needs namespaces")
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


def of_alert(kind: Kind, drift: Drift = DRIFT, **more: object) -> Message:
    """A message of the second telling of an alert, in which nothing is new."""
    told = replace(message(drift, news=()), kind=kind, alert="6f00aa", called="a1", stage=2)
    return replace(told, opened="2026-11-23T06:00:00Z", **more)  # type: ignore[arg-type]


def test_reminder_says_what_is_still_open() -> None:
    still = of_alert(Kind.REMINDER, still_open=Level.WEAKENED, spoken="VANES KOLIP")
    assert dict(alert_fields(still)) == {
        "MESSAGE_ID": REMINDER_ID,
        "PRIORITY": "4",
        "BOOTWATCH_KIND": "reminder",
        "BOOTWATCH_LEVEL": "weakened",
        "BOOTWATCH_STILL_OPEN": "weakened",
        "BOOTWATCH_MACHINE": "reading-room-3",
        "BOOTWATCH_SNAPSHOT": "5",
        "BOOTWATCH_ALERT": "a1",
        "BOOTWATCH_ALERT_UID": "6f00aa",
        "BOOTWATCH_STAGE": "2",
        "BOOTWATCH_SPOKEN": "VANES KOLIP",
    }
    text = alert_text(still)
    assert text.startswith(
        "reading-room-3: still open since 2026-11-23 06:00 UTC: 2 of 3 changes weaken how this machine starts"
    )
    # Those alone that are as bad as that.
    assert 'The entry "Fernwick Linux"' in text and "boot order" not in text


def test_all_clear_is_no_warning() -> None:
    over = of_alert(Kind.ALL_CLEAR, QUIET, is_over=Level.STRANDED, how="the machine is back at its baseline")
    fields = dict(alert_fields(over))
    assert (fields["MESSAGE_ID"], fields["PRIORITY"]) == (ALL_CLEAR_ID, "5")
    assert (fields["BOOTWATCH_LEVEL"], fields["BOOTWATCH_STILL_OPEN"]) == ("stranded", "nothing")
    assert alert_text(over) == (
        'reading-room-3: all clear, alert a1 ("stranded") is over: the machine is back at its baseline.'
    )


def test_all_clear_with_something_left_says_what() -> None:
    eased = of_alert(
        Kind.ALL_CLEAR, Drift((ORDER_CHANGED,), (), ()), is_over=Level.STRANDED, still_open=Level.CHANGED
    )
    assert dict(alert_fields(eased))["BOOTWATCH_STILL_OPEN"] == "changed"
    assert alert_text(eased).startswith(
        'reading-room-3: what was "stranded" is over, the worst that is left is "changed": 1 change is worth'
        " knowing. "
    )


@pytest.mark.parametrize(("certain", "said"), [(True, "Quarry"), (False, None)])
def test_the_next_system_is_named_where_it_is_certain(certain: bool, said: str | None) -> None:
    state = {"next_start": {"by": "BootOrder", "system": "Quarry", "certain": certain, "expected": False}}
    fields = dict(alert_fields(replace(message(), state=state)))
    assert fields.get("BOOTWATCH_NEXT_SYSTEM") == said


def test_hostile_text_cannot_add_a_field() -> None:
    state = {"next_start": {"system": HOSTILE, "certain": True}}
    record = replace(message(hostile_drift()), machine=HOSTILE, state=state, still_open=Level.WEAKENED)
    for kind in (Kind.NEWS, Kind.REMINDER, Kind.ALL_CLEAR):
        told = replace(record, kind=kind, called=HOSTILE, alert=HOSTILE, opened=HOSTILE, spoken=HOSTILE)
        over = replace(told, still_open=None, how=HOSTILE)
        for text in (alert_text(told), alert_text(over), *(value for _, value in alert_fields(told))):
            assert not harmful(text) and "\n" not in text


def test_another_machines_alert_is_not_recorded_here(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    announce(message(), Places.below(tmp_path))
    assert capsys.readouterr().err == ""


def test_the_catalog_explains_each_record(tmp_path: Path) -> None:
    """As systemd reads it where it is installed; it leaves out what it can't read."""
    place = tmp_path / "usr/local/lib/systemd/catalog/bootwatch.catalog"
    place.parent.mkdir(parents=True)
    place.write_bytes((PROJECT / "units/bootwatch.catalog").read_bytes())
    (tmp_path / "var/lib/systemd/catalog").mkdir(parents=True)
    for job in ("--update-catalog", "--dump-catalog"):
        shown = subprocess.run(["journalctl", f"--root={tmp_path}", job], capture_output=True, text=True)
        assert (shown.returncode, shown.stderr) == (0, "")
    known = {value for name, value in vars(journal).items() if name.endswith("_ID")}
    assert sorted(re.findall(r"^-- (\w{32})$", shown.stdout, re.M)) == sorted(known)
    assert shown.stdout.count("Defined-By: bootwatch") == len(known) == 6


def test_the_catalog_names_fields_that_records_have() -> None:
    named = set(re.findall(r"@(\w+)@", (PROJECT / "units/bootwatch.catalog").read_text()))
    told = {name for name, _ in (*alert_fields(of_alert(Kind.REMINDER)), *restore_fields(3, is_stopped=True))}
    assert named - told == {"BOOTWATCH_ADDRESS"}


def test_a_restore_that_stopped_is_an_error() -> None:
    done, stopped = (dict(restore_fields(3, is_stopped=one)) for one in (False, True))
    assert done == {"MESSAGE_ID": RESTORE_ID, "PRIORITY": "5", "BOOTWATCH_RESTORE": "3"}
    assert stopped == done | {"PRIORITY": "3"}
