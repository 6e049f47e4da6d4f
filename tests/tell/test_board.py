"""What any user of the machine may read."""

from __future__ import annotations

import json
import stat
from dataclasses import replace
from pathlib import Path

from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift
from bootwatch.places import Places
from bootwatch.tell.board import publish, publish_alert, publish_trouble, publish_without_baseline
from tests.tell import kinds
from tests.tell.samples import DRIFT, FACTS, NO_WAY, QUIET, SEED_CHANGED, STICK_FIRST, harmful, hostile_drift

CODE = "BFH KLM QRWX"


def _places(tmp_path: Path) -> Places:
    (tmp_path / "run").mkdir()
    return Places.below(tmp_path)


def test_drift_summary_and_log_in_line(tmp_path: Path) -> None:
    publish(_places(tmp_path), DRIFT, FACTS, spoken=CODE)
    board = tmp_path / "run/bootwatch"
    document = json.loads((board / "drift.json").read_text())
    assert document["format"] == "bootwatch/drift/1"
    assert (document["machine"], document["snapshot"]) == ("reading-room-3", 5)
    assert document["baseline"] == {"saved": "2026-11-20T14:02:00Z", "reason": "installed"}
    assert document["time"] == "2026-11-25T07:12:05Z"
    assert [item["change"] for item in document["changes"]][:2] == ["entry-missing", "loader-missing"]
    assert (board / "summary").read_text().startswith("reading-room-3: 2 of 3 changes weaken")
    lines = (board / "motd").read_text().splitlines()
    assert lines == [
        "bootwatch: 2 of 3 changes weaken how this machine starts; 1 finding; 2 parts",
        "  could not be read",
        "  Seen 2026-11-25 07:12 UTC. Before you switch off, see: bootwatch drift",
        "  On the phone, read out: BFH KLM QRWX",
    ]
    assert document["spoken"] == CODE
    for file in board.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o644


def test_the_log_in_line_is_empty_while_nothing_above_routine_is_open(tmp_path: Path) -> None:
    places = _places(tmp_path)
    publish(places, DRIFT, FACTS, spoken=CODE)
    publish(places, Drift((SEED_CHANGED,), (), ()), FACTS, spoken=CODE)
    assert (tmp_path / "run/bootwatch/motd").read_text() == ""
    publish(places, QUIET, FACTS, spoken=CODE)
    assert (tmp_path / "run/bootwatch/motd").read_text() == ""


def test_what_was_wrong_when_the_baseline_was_saved_greets_nobody(tmp_path: Path) -> None:
    places, motd = _places(tmp_path), tmp_path / "run/bootwatch/motd"
    publish(places, Drift((SEED_CHANGED,), (STICK_FIRST,), ()), FACTS, {STICK_FIRST.id}, spoken=CODE)
    assert motd.read_text() == ""
    assert STICK_FIRST.id in (tmp_path / "run/bootwatch/drift.json").read_text()
    publish(places, Drift((), (STICK_FIRST, NO_WAY), ()), FACTS, {STICK_FIRST.id}, spoken=CODE)
    assert motd.read_text().startswith("bootwatch: 1 finding keeps a system from starting; no change from")


def test_the_open_alert_and_its_worst_level_at_every_log_in(tmp_path: Path) -> None:
    """Also when what is worst can't be seen for now, or nothing can be compared."""
    places, motd = _places(tmp_path), tmp_path / "run/bootwatch/motd"
    alert = replace(kinds.stranded(), kind=Kind.REMINDER)
    publish_alert(places, alert, quiet_until="")
    said = "  Alert a1, the worst of it stranded, open since 2026-11-25 07:12 UTC."
    for drift in (DRIFT, QUIET):
        publish(places, drift, FACTS, spoken=CODE)
        assert said in motd.read_text().splitlines()
    assert motd.read_text().splitlines()[-1] == "  On the phone, read out: BFH KLM QRWX"
    publish_trouble(places, "reading-room-3", "The baseline is damaged.", spoken=CODE)
    assert motd.read_text().splitlines()[1] == said
    publish_alert(places, replace(alert, alert="", called="", opened=""), quiet_until="")
    publish(places, QUIET, FACTS, spoken=CODE)
    assert motd.read_text() == ""


def test_a_root_without_run_gets_nothing(tmp_path: Path) -> None:
    publish(Places.below(tmp_path), DRIFT, FACTS, spoken=CODE)
    assert list(tmp_path.iterdir()) == []


def test_hostile_text_is_harmless_on_the_board(tmp_path: Path) -> None:
    publish(_places(tmp_path), hostile_drift(), FACTS, spoken=CODE)
    for file in (tmp_path / "run/bootwatch").iterdir():
        assert not harmful(file.read_text()), file.name


def test_without_a_baseline_nothing_is_claimed(tmp_path: Path) -> None:
    places = _places(tmp_path)
    publish(places, DRIFT, FACTS, spoken=CODE)
    publish_without_baseline(places, "reading-room-3", spoken=CODE)
    board = tmp_path / "run/bootwatch"
    assert json.loads((board / "drift.json").read_text())["baseline"] is None
    assert (board / "summary").read_text() == "reading-room-3: no baseline was saved yet\n"
    assert (board / "motd").read_text() == ""
