"""What the session's unit runs: show the open alert to whoever is logged in, and follow it."""

from __future__ import annotations

import contextlib
import datetime
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.nudge import Nudge
from bootwatch.tell import desktop_board, desktop_text
from bootwatch.tell.desktop import Note, Session, Slot, decide
from bootwatch.tell.desktop_board import Board
from bootwatch.tell.desktop_bus import Arrived, BusGone, Closed, Daemon, Event, Shown
from bootwatch.tell.plain import plain

# The system can't wait for much longer at once.
_WEEK = 7 * 24 * 60 * 60.0
_READ = frozenset({"alert.json", "state.json"})


def follow(places: Places) -> int:
    """Show what is open, and what changes, until the session or the folder ends; 0 then.

    Raises MachineProblem where there is no session or no such folder.
    """
    run = places.run
    if run is None:
        raise MachineProblem("There is no /run, so nobody leaves there what is to be shown.")
    with Nudge.on(run, _READ) as nudge, Daemon.on_session_bus() as daemon:
        screen = Screen(run, daemon)
        with contextlib.suppress(BusGone):
            while not nudge.is_over:
                screen.renew()
                nudge.wait(daemon.fileno(), 0 if daemon.has_events() else screen.until_quiet_ends())
            screen.clear()
    return 0


class Screen:
    """What this session has on its screen, and had."""

    def __init__(self, run: Path, daemon: Daemon) -> None:
        self._run, self._daemon = run, daemon
        self._board, self._session = Board(), Session()
        self._shown: dict[Slot, Shown] = {}
        # Until one was asked for. One that went away is not called back: whoever stopped it starts another.
        self._may_have_daemon = True

    def renew(self) -> None:
        """Take notice of what happened, and show what is to be seen now. Raises BusGone."""
        for event in self._daemon.events():
            self._take(event)
        board = desktop_board.read(self._run, self._board)
        self._may_have_daemon |= board != self._board
        self._board = board
        showing = decide(self._session, board, _now())
        self._session = showing.session
        for slot in Slot:
            self._put(slot, showing.notes.get(slot))
        if showing.mark and Slot.ALERT in self._shown:
            self._session = self._session.having_seen(showing.mark)
        if showing.parting and self._may_have_daemon:
            self._daemon.show(showing.parting)

    def _take(self, event: Event) -> None:
        if isinstance(event, Arrived):
            self._may_have_daemon = bool(event.owner)
            self._shown = {slot: one for slot, one in self._shown.items() if one.owner == event.owner}
            return
        slot = next((slot for slot, one in self._shown.items() if one.number == event.number), None)
        if slot is None:
            return
        if isinstance(event, Closed):
            self._session = self._session.having_put_away(slot, self._shown.pop(slot).note)
        else:
            self._open()

    def _put(self, slot: Slot, note: Note | None) -> None:
        shown = self._shown.get(slot)
        if note is None:
            if shown:
                self._daemon.take_away(self._shown.pop(slot))
            return
        if note.button and not desktop_text.can_open():
            note = replace(note, button="")
        if (shown and shown.note == note) or not self._may_have_daemon:
            return
        now = self._daemon.show(note, shown)
        self._may_have_daemon = now is not None
        if now:
            self._shown[slot] = now

    def _open(self) -> None:
        try:
            desktop_text.open_text(self._board)
        except (*desktop_board.MALFORMED, subprocess.SubprocessError) as error:
            print(f"bootwatch: the text could not be opened: {plain(str(error))}", file=sys.stderr)

    def until_quiet_ends(self) -> float | None:
        """In seconds, at most a week; None while nobody asked for quiet."""
        until = self._board.quiet_until
        left = (until - _now()).total_seconds() if until else 0.0
        return min(left, _WEEK) if left > 0 else None

    def clear(self) -> None:
        """Leave nothing behind whose button leads nowhere. Raises BusGone."""
        for shown in self._shown.values():
            self._daemon.take_away(shown)


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
