"""What a session is to show, decided from the board and from what was seen already."""

from __future__ import annotations

import datetime
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.places import Places
from bootwatch.tell import board as published
from bootwatch.tell import desktop_board
from bootwatch.tell.desktop import Mark, Session, Showing, Slot, Urgency, decide
from bootwatch.tell.desktop_board import Board
from bootwatch.tell.desktop_text import can_open, open_text, whole_text
from tests.tell import kinds
from tests.tell.samples import HOSTILE, harmful, hostile_drift

NOW = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)
LATER = NOW + datetime.timedelta(hours=1)
NO_BREAK = "\N{NO-BREAK SPACE}"
NOTHING = replace(kinds.all_clear(), alert="", called="", opened="")


def shown(board: Board, session: Session = Session()) -> tuple[Showing, Session]:  # noqa: B008
    """What is decided, and the session once the daemon has shown it."""
    found = decide(session, board, NOW)
    if found.mark and Slot.ALERT in found.notes:
        return found, found.session.having_seen(found.mark)
    return found, found.session


def put_away(board: Board) -> Session:
    found, session = shown(board)
    return session.having_put_away(Slot.ALERT, found.notes[Slot.ALERT])


@pytest.mark.parametrize(
    ("level", "urgency"),
    [
        (Level.STRANDED, Urgency.CRITICAL),
        (Level.DIVERTED, Urgency.CRITICAL),
        (Level.WEAKENED, Urgency.NORMAL),
        (Level.CHANGED, Urgency.LOW),
        (None, Urgency.LOW),
    ],
)
def test_urgency_by_level(level: Level | None, urgency: Urgency) -> None:
    found, _ = shown(Board(replace(kinds.weakened(), still_open=level)))
    assert found.notes[Slot.ALERT].urgency is urgency


def test_nothing_before_anything_was_read() -> None:
    assert decide(Session(), Board(), NOW) == Showing({}, Session())


def test_what_was_put_away_comes_back_only_when_it_grows_worse() -> None:
    first = replace(kinds.weakened(), stage=2)
    session = put_away(Board(first))
    assert not shown(Board(replace(first, snapshot=9)), session)[0].notes
    # An all-clear in part counts as a telling, too.
    better = replace(first, still_open=Level.CHANGED, stage=3)
    assert not shown(Board(better), session)[0].notes
    assert shown(Board(replace(first, still_open=Level.DIVERTED)), session)[0].notes
    assert shown(Board(replace(first, stage=3)), session)[0].notes
    assert shown(Board(replace(first, alert="another")), session)[0].notes


def test_put_away_twice() -> None:
    first = kinds.weakened()
    session = put_away(Board(first))
    worse = Board(replace(first, still_open=Level.STRANDED, stage=2))
    found, session = shown(worse, session)
    session = session.having_put_away(Slot.ALERT, found.notes[Slot.ALERT])
    assert not shown(worse, session)[0].notes
    assert not shown(Board(replace(first, stage=2)), session)[0].notes


def test_the_end_is_told_once_to_those_who_saw_the_beginning() -> None:
    assert shown(Board(NOTHING))[0].parting is None
    _, session = shown(Board(kinds.diverted()))
    found, session = shown(Board(NOTHING), session)
    assert found.parting and found.parting.urgency is Urgency.LOW
    assert not found.parting.button
    assert shown(Board(NOTHING), session)[0].parting is None
    put = put_away(Board(kinds.diverted()))
    assert shown(Board(NOTHING), put)[0].parting


def test_the_next_alert_takes_the_place_of_the_last() -> None:
    _, session = shown(Board(kinds.diverted()))
    found, session = shown(Board(replace(kinds.weakened(), alert="another")), session)
    assert found.parting is None
    assert session.shown == Mark("another", Level.WEAKENED, 1)


def test_quiet_until_it_grows_worse_or_the_time_is_over() -> None:
    quiet = Board(kinds.weakened(), quiet_until=LATER)
    found, session = shown(quiet)
    assert not found.notes
    worse = replace(quiet, message=replace(kinds.weakened(), still_open=Level.STRANDED))
    found, session = shown(worse, session)
    assert found.notes
    assert shown(replace(worse), session)[0].notes
    assert decide(shown(quiet)[1], quiet, LATER).notes
    # What is on the screen when somebody asks for quiet is taken off it.
    assert not shown(quiet, shown(Board(kinds.weakened()))[1])[0].notes


def test_telling_is_put_away_until_it_says_something_else() -> None:
    mistaken = Board(NOTHING, has_mistakes=True)
    note = decide(Session(), mistaken, NOW).notes[Slot.TELLING]
    session = Session().having_put_away(Slot.TELLING, note)
    assert not decide(session, mistaken, NOW).notes
    refused = decide(session, Board(NOTHING, refused=("Anna", "Ben")), NOW).notes[Slot.TELLING]
    assert refused.title == "Anna and Ben could not be told"


def test_it_is_no_reminder_to_who_sees_it_first_and_says_who_knows() -> None:
    message = replace(
        kinds.weakened(), kind=Kind.REMINDER, time="2026-11-27T06:00:00Z", care=Care("Anna", "0123 456")
    )
    told = Told("workshop", "technician", "2026-11-25T07:20:00Z")
    board = Board(
        message, sent=((message.alert, told), ("another", replace(told, time="2026-11-26T00:00:00Z")))
    )
    assert board.told == (told,)
    note = decide(Session(), board, NOW).notes[Slot.ALERT]
    assert not note.title.startswith("Still")
    assert "reminder" not in whole_text(board)
    assert "Anna was told on Wednesday, 25 November" in whole_text(board)


def test_what_is_shown_is_short_and_has_the_code_where_nothing_cuts_it() -> None:
    message = replace(kinds.stranded(), care=Care("Anna", "0123 456"))
    lines = decide(Session(), Board(message), NOW).notes[Slot.ALERT].body.splitlines()
    assert "call Anna, 0123 456" in lines[0]
    assert lines[1] == f"On the phone, please read out these letters: {'FWK QKB HFKL'.replace(' ', NO_BREAK)}"
    assert "reading-room-3" not in "".join(lines)
    assert sum(map(len, lines)) < 600
    assert all(lines)


# What is read


def _publish(tmp_path: Path, message: Message, quiet_until: str = "") -> Path:
    (tmp_path / "run").mkdir(exist_ok=True)
    published.publish_alert(Places.below(tmp_path), message, quiet_until=quiet_until)
    (tmp_path / "run/bootwatch/send").mkdir(exist_ok=True)
    return tmp_path / "run/bootwatch"


def test_what_was_published_is_read(tmp_path: Path) -> None:
    run = _publish(tmp_path, kinds.diverted(), "2026-11-25T09:00:00Z")
    sent = {
        "mistakes": [],
        "untold": [
            {"address": "Ben", "for_good": True},
            {"address": "Ben", "for_good": True},
            {"address": "Cleo", "for_good": False},
        ],
        "told": [{"alert": "x", "address": "Anna", "reader": "owner", "time": "2026-11-25T07:20:00Z"}],
    }
    (run / "send/state.json").write_text(json.dumps(sent))
    assert desktop_board.read(run, Board()) == Board(
        kinds.diverted(), LATER, (("x", Told("Anna", "owner", "2026-11-25T07:20:00Z")),), ("Ben",), False
    )


@pytest.mark.parametrize("path", ["alert.json", "send/state.json"])
def test_what_is_damaged_leaves_what_was_read(tmp_path: Path, path: str) -> None:
    run = _publish(tmp_path, kinds.weakened())
    (run / "send/state.json").write_text('{"mistakes": ["one"], "untold": [], "told": []}')
    last = desktop_board.read(run, Board())
    assert last.message and last.has_mistakes
    good = json.loads((run / path).read_text())
    for bad in (*_damaged(good), "", "[]", "nul", "[" * 100_000, "\ud800"):
        text = bad if isinstance(bad, str) else json.dumps(bad)
        (run / path).write_bytes(text.encode("utf-8", "surrogatepass"))
        assert desktop_board.read(run, last) == last, text[:200]
    (run / path).unlink()
    assert desktop_board.read(run, last) == last
    os.mkfifo(run / path)
    assert desktop_board.read(run, last) == last


_OF_OTHER_KINDS: dict[str, list[Any]] = {
    "machine": [7, None, ["x"]],
    "snapshot": ["x", None, True],
    "drift": [7, {}, {"changes": 7}],
    "news": [7, [7]],
    "kind": ["x", 7],
    "still_open": ["x", 7],
    "care": [7, {"called": {"x": 7}}, {"name": 7}],
    "spoken": [7, None],
    "files_untouched": ["x"],
    "routes": [7, {"systems": [7]}],
    "quiet_until": [7, {}, "soon"],
    "mistakes": [7, {}, ["x", 1]],
    "untold": [7, [7], [{}]],
    "told": [7, [7], [{"alert": "x"}]],
}


def _damaged(good: dict[str, Any]) -> list[dict[str, Any]]:
    """With values of other kinds where the kind is known."""
    inner = good.get("message", {})
    found = [{**good, name: odd} for name in good for odd in _OF_OTHER_KINDS.get(name, ())]
    found += [
        {**good, "message": {**inner, name: odd}} for name in inner for odd in _OF_OTHER_KINDS.get(name, ())
    ]
    assert len(found) > 7
    return found


def test_routes_of_any_shape_stop_nothing(tmp_path: Path) -> None:
    """They are plain data, looked into only where the text is made."""
    run = _publish(tmp_path, kinds.stranded())
    last = desktop_board.read(run, Board())
    odd_ones: list[dict[str, Any]] = [
        {"next_start": 7},
        {"systems": [{"name": 7}]},
        {"systems": [{"name": 7, "removable": False, "starts": True, "how": []}], "routes": 7},
        {"more": [1]},
    ]
    for odd in odd_ones:
        _publish(tmp_path, replace(kinds.weakened(), routes=odd))
        assert decide(Session(), desktop_board.read(run, last), NOW).notes


def test_hostile_names_are_harmless(tmp_path: Path) -> None:
    message = replace(kinds.stranded(), drift=hostile_drift(), machine=HOSTILE, care=Care(HOSTILE, HOSTILE))
    board = Board(message, refused=(HOSTILE,))
    notes = decide(Session(), board, NOW).notes.values()
    assert not harmful("".join(note.title + note.body for note in notes) + whole_text(board))


# The text behind the button


@pytest.mark.parametrize("manager", [0, 1], ids=["by the manager", "by itself"])
def test_the_text_is_opened_outside_of_our_own_unit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, manager: int
) -> None:
    folder = tmp_path / "bin"
    folder.mkdir()
    for name, status in (("systemd-run", manager), ("setsid", 0), ("xdg-open", 0)):
        (folder / name).write_text(f'#!/bin/sh\necho "{name} $*" >>{tmp_path}/called\nexit {status}\n')
        (folder / name).chmod(0o755)
    for name, value in (("PATH", folder), ("XDG_RUNTIME_DIR", tmp_path), ("INVOCATION_ID", "1f" * 16)):
        monkeypatch.setenv(name, str(value))
    assert can_open()
    open_text(Board(kinds.weakened()))
    file = tmp_path / "bootwatch/alert.txt"
    asked = [f"systemd-run --user --quiet --collect -- xdg-open {file}", f"setsid --fork xdg-open {file}"]
    assert (tmp_path / "called").read_text().splitlines() == asked[: 1 + manager]
    (folder / "xdg-open").unlink()
    assert not can_open()
