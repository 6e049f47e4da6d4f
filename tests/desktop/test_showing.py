"""The program in a session with a real notification daemon (dunst) on a virtual screen."""

from __future__ import annotations

import os
import pwd
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.model.care import Care
from bootwatch.model.message import Message
from tests.desktop.session import DEADLINE, Session, publish, publish_sent, screen
from tests.tell import kinds

pytestmark = pytest.mark.long

ANNA = Care(name="Anna", phone="0123 456", menu_key="F12")
EXPECTED = {"next_start": {"expected": True}}
MISTAKES = ["addresses.yaml, line 3: there is no route"]
CALL = "Leave the computer switched on and call Anna"
NOBODY = "This computer can tell nobody else"


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    with screen() as display:
        yield display


@pytest.fixture
def folder() -> Iterator[Path]:
    """One that every user can reach, and short enough for a socket's address."""
    folder = Path(tempfile.mkdtemp(prefix="bootwatch-desktop-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def session(folder: Path, display: str) -> Iterator[Session]:
    with Session.started(folder / "anna", display) as session:
        yield session


def weakened(stage: int = 1) -> Message:
    return replace(kinds.weakened(), care=ANNA, stage=stage, state=EXPECTED)


def stranded(stage: int = 2) -> Message:
    return replace(kinds.stranded(), care=ANNA, stage=stage, state=EXPECTED)


def nothing_open() -> Message:
    return replace(kinds.all_clear(), alert="", called="", opened="", care=ANNA, state=EXPECTED)


def test_from_log_in_to_the_all_clear(session: Session) -> None:
    publish(session.run, weakened())
    session.start_daemon()
    with session.log_in():
        first = session.await_shown()
        assert (first.urgency, first.title) == ("NORMAL", "There is nothing for you to do")
        publish(session.run, stranded())
        second = session.await_shown()
        # In the place of the first.
        assert (second.number, second.urgency) == (first.number, "CRITICAL")
        assert session.displayed() == 1
        assert second.title == CALL
        assert "Please leave the computer switched on, and call Anna, 0123 456." in second.body
        assert "please read out these letters: FWK" in second.body
        publish(session.run, nothing_open())
        session.await_closed(second.number)
        last = session.await_shown()
        assert (last.urgency, last.title) == ("LOW", "All is well with the computer again")
        assert session.displayed() == 1


def test_the_whole_text_is_opened(session: Session) -> None:
    publish(session.run, stranded())
    session.start_daemon()
    with session.log_in():
        session.await_shown()
        session.control("action", "0")
        opened = session.await_opened()
    assert opened.stat().st_mode & 0o777 == 0o600
    assert opened.is_relative_to(session.environment["XDG_RUNTIME_DIR"])
    lines = opened.read_text().splitlines()
    assert lines[0] == CALL
    technicians = lines.index("For whoever looks after this computer:")
    assert "This is about the computer called reading-room-3." in lines[:technicians]
    assert "bootwatch meaning loader-missing" in "".join(lines[technicians:])


def test_put_away_until_it_grows_worse_or_the_next_log_in(session: Session) -> None:
    publish(session.run, nothing_open())
    session.start_daemon()
    with session.log_in():
        publish(session.run, weakened())
        session.close_first(session.await_shown().number)
        # Told again by mail, since another address was; that is no news here.
        publish(session.run, replace(weakened(), snapshot=6))
        publish_sent(session.run, mistakes=MISTAKES)
        assert session.await_shown().title == NOBODY
        publish(session.run, stranded())
        worse = session.await_shown()
        assert worse.title == CALL
        session.close_first(worse.number)
    with session.log_in():
        assert [session.await_shown().title, session.await_shown().title] == [CALL, NOBODY]
    # Nothing is left whose button leads nowhere.
    assert session.displayed() == 0


def test_daemons_come_and_go(session: Session) -> None:
    publish(session.run, stranded())
    with session.log_in() as program:
        session.await_said("GetCapabilities")
        session.start_daemon()
        assert session.await_shown().title == CALL
        session.stop_daemon()
        session.start_daemon()
        assert session.await_shown().title == CALL
        assert session.displayed() == 1
        session.end()
        assert program.wait(DEADLINE) == 0


def test_damage_leaves_what_was_shown(session: Session) -> None:
    publish(session.run, weakened())
    session.start_daemon()
    with session.log_in():
        first = session.await_shown()
        (session.run / "alert.json").write_bytes(b'{"message": {"alert": "a1", "care": [')
        publish_sent(session.run, mistakes=MISTAKES)
        assert session.await_shown().title == NOBODY
        assert session.displayed() == 2
        publish(session.run, stranded())
        assert session.await_shown().number == first.number


def test_quiet_alerts_greet_nobody(session: Session) -> None:
    publish(session.run, weakened(), quiet_until="2099-01-01T00:00:00Z")
    publish_sent(session.run, mistakes=MISTAKES)
    session.start_daemon()
    with session.log_in():
        assert session.await_shown().title == NOBODY
        publish(session.run, stranded(), quiet_until="2099-01-01T00:00:00Z")
        assert session.await_shown().title == CALL


def test_who_could_not_be_told(session: Session) -> None:
    untold = {"message": "5.json", "address": "Ben", "why": "550 no", "attempts": 1, "for_good": True}
    publish(session.run, weakened())
    session.start_daemon()
    with session.log_in():
        session.await_shown()
        publish_sent(session.run, untold=[untold])
        told = session.await_shown()
        assert (told.urgency, told.title) == ("NORMAL", "Ben could not be told")
        assert told.body.endswith("Please call Anna, 0123 456 yourself.")
        publish_sent(session.run)
        session.await_closed(told.number)


def test_it_ends_with_the_folder_that_it_reads(session: Session) -> None:
    publish(session.run, weakened())
    session.start_daemon()
    with session.log_in() as program:
        shown = session.await_shown()
        shutil.rmtree(session.run)
        session.await_closed(shown.number)
        assert program.wait(DEADLINE) == 0


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user takes root")
def test_two_users_each_see_it(folder: Path, display: str) -> None:
    with (
        Session.started(folder / "anna", display, pwd.getpwnam("nobody").pw_uid) as anna,
        Session.started(folder / "ben", display, pwd.getpwnam("daemon").pw_uid) as ben,
    ):
        publish(anna.run, stranded())
        for session in (anna, ben):
            session.start_daemon()
        with anna.log_in(), ben.log_in():
            first, second = anna.await_shown(), ben.await_shown()
            assert first.title == second.title == CALL
            # What one of them puts away stays with the other.
            anna.close_first(first.number)
            assert (anna.displayed(), ben.displayed()) == (0, 1)
            for session in (anna, ben):
                session.control("close-all")
            ben.await_closed(second.number)
            publish(anna.run, nothing_open())
            for session in (anna, ben):
                assert session.await_shown().title == "All is well with the computer again"
