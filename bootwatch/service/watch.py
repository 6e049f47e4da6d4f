"""The resident watch: sees that something changed, waits until it has settled, and has one reading taken.

It reads nothing of the machine but the mount table, fstab and names of folders, parses nothing that comes
from firmware or a disk, and writes one empty file. `bootwatch watch` becomes this process, which loads
little.
"""

from __future__ import annotations

import os
import select
import signal
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from types import FrameType

from bootwatch.observe.machine import Machine
from bootwatch.service.watch_ask import Asker, Child, RequestFile
from bootwatch.service.watch_folders import Folders
from bootwatch.service.watch_notify import notify, ping_seconds, status
from bootwatch.service.watch_places import MOUNT_TABLE, Survey, Target, signs, survey
from bootwatch.service.watch_settle import Settling
from bootwatch.tell.plain import plain

_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGCHLD)
_LOST = "lost sight of some changes"
_LEAVE = (signal.SIGTERM, signal.SIGINT)
# These take minutes, as each waits longer. Whoever is started then sees a folder that was made anew: for a
# service that began before, it stays the old one.
_MOST_TRIES = 8


class News:
    """What changed since it was last looked at: the first change, how many, and whether the mounts are to be
    looked at again. Other threads put it in."""

    def __init__(self, wake: int) -> None:
        self._wake = wake
        self._lock = threading.Lock()
        self._first, self._count, self._look = "", 0, False

    def changed(self, what: str) -> None:
        with self._lock:
            self._first, self._count = self._first or what, self._count + 1
        self._awaken()

    def look(self) -> None:
        with self._lock:
            self._look = True
        self._awaken()

    def take(self) -> tuple[str, int, bool]:
        with self._lock:
            taken = self._first, self._count, self._look
            self._first, self._count, self._look = "", 0, False
        return taken

    def _awaken(self) -> None:
        with suppress(BlockingIOError):  # full: it is awake already
            os.write(self._wake, b"!")


class Watch:
    """Runs until it is told to leave. Only changes, signals and what systemd wants to hear wake it."""

    def __init__(self, machine: Machine, asker: Asker, settling: Settling | None = None) -> None:
        self.machine, self.asker = machine, asker
        self.settling = settling or Settling()
        self._awake, wake = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self.news = News(wake)
        self.folders = Folders(self._noticed, lambda: self.news.changed(_LOST))
        self._poll = select.poll()
        self._poll.register(self._awake, select.POLLIN)
        self._survey = Survey()
        self._signs: tuple[bytes, ...] = ()
        self._table = self._watch_mounts()
        self._signals: set[int] = set()
        self._ping, self._pinged = ping_seconds(), time.monotonic()
        self._first, self._count, self._asked, self._tries = "", 0, 0, 0
        self._troubles: list[str] = []
        self._failure, self._said = "", ""
        for number in _SIGNALS:
            signal.signal(number, self._on_signal)
        signal.set_wakeup_fd(wake, warn_on_full_buffer=False)

    def run(self) -> int:
        self._renew()
        if not self.asker.is_first():
            # What changed while nobody watched is seen by a reading; after a start of the machine by its own.
            self.news.changed("nobody watched for a while")
        self._say("READY=1")
        while not self._signals.intersection(_LEAVE) and self._tries < _MOST_TRIES:
            self._wait()
            self._take_news()
            self._ask_when_due()
            self._say()
        self._say("STOPPING=1")
        self.folders.close()
        return int(self._tries >= _MOST_TRIES)

    # waiting

    def _wait(self) -> None:
        timeout = self._timeout(time.monotonic())
        for handle, _ in self._poll.poll(timeout):
            if handle == self._awake:
                with suppress(BlockingIOError):
                    while os.read(self._awake, 1 << 12):
                        pass
            else:
                self.news.look()

    def _timeout(self, now: float) -> int | None:
        times = [self.settling.due] if not self.asker.is_busy else []
        times += [self._pinged + self._ping] if self._ping else []
        next_one = min((one for one in times if one is not None), default=None)
        return None if next_one is None else max(0, int((next_one - now) * 1000) + 1)

    def _watch_mounts(self) -> int:
        """The running system's mount table, for poll(2); inotify is silent about it."""
        if self.machine.root != "/":
            return -1
        table = os.open("/" + MOUNT_TABLE, os.O_RDONLY | os.O_CLOEXEC)
        self._poll.register(table, select.POLLPRI | select.POLLERR)
        return table

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self._signals.add(number)

    # what changed

    def _noticed(self, target: Target, kind: str, path: str) -> None:
        if target.asks:
            self.news.changed(f"{path} {kind}")
        else:
            self.news.look()

    def _take_news(self) -> None:
        if signal.SIGHUP in self._signals:
            self._signals.discard(signal.SIGHUP)
            self.news.changed("the settings were loaded again")
        if signal.SIGCHLD in self._signals:
            self._signals.discard(signal.SIGCHLD)
            self._failure = self.asker.ended()
        first, count, look = self.news.take()
        # Said once: before the question it is made anew.
        if not self.folders.is_alive and self.settling.due is None:
            first, count = first or _LOST, count + 1
        if look and (mounted := self._look_again()):
            first, count = first or mounted, count + 1
        if count:
            self.settling.note(time.monotonic())
            self._first, self._count = self._first or first, self._count + count

    def _look_again(self) -> str:
        """What changed about the boot volumes' mounts, "" for nothing: most mounts don't matter here.

        One that the reader found to be a boot volume counts as mounted: until now nobody watched it.
        """
        now = signs(self.machine)
        if now == self._signs:
            return ""
        found, self._signs = survey(self.machine), now
        for _, folder, *_ in sorted(found.mounts ^ self._survey.mounts):
            is_there = any(folder == mount[1] for mount in found.mounts)
            return f"{folder} {'mounted' if is_there else 'unmounted'}"
        return ""

    # asking

    def _ask_when_due(self) -> None:
        now = time.monotonic()
        due = self.settling.due
        if due is None or now < due or self.asker.is_busy:
            return
        self._renew()
        self.settling.asked(now)
        more = f" and {self._count - 1} more" if self._count > 1 else ""
        if self._count:  # not where it only tries again
            print(f"{plain(self._first)}{more}: asking for a reading", file=sys.stderr, flush=True)
        self._first, self._count = "", 0
        try:
            self.asker.ask()
            self._asked += 1
            self._failure, self._tries = "", 0
        except OSError as error:
            self._tries += 1
            if self._tries in (1, _MOST_TRIES):
                print(f"No reading can be asked for: {error.strerror}", file=sys.stderr, flush=True)
            self._failure = f"No reading can be asked for ({error.strerror}); that is tried again."
            self.settling.note(now)

    def _renew(self) -> None:
        """Watch what there is now. A reading has to follow: what changes meanwhile is seen by nobody else."""
        self._signs, self._survey = signs(self.machine), survey(self.machine)
        troubles = self.folders.renew(self._survey.targets)
        troubles += [self._survey.trouble] if self._survey.trouble else []
        for trouble in troubles:
            if trouble not in self._troubles:
                print(f"Can't watch {plain(trouble)}", file=sys.stderr, flush=True)
        self._troubles = troubles

    # telling

    def _say(self, *more: str) -> None:
        """Tell systemd what is new, and that this is alive when it is time to."""
        lines, text = list(more), plain(self._state(), 1000)
        now = time.monotonic()
        if text != self._said:
            self._said = text
            lines.append(status(text))
        if self._ping and now >= self._pinged + self._ping:
            self._pinged = now
            lines.append("WATCHDOG=1")
        if lines:
            notify(*lines)

    def _state(self) -> str:
        seen = self._survey
        things = ["the firmware's variables"] if seen.has_variables else []
        things += [f"the boot volume at {folder}" for folder in seen.volumes] + ["fstab", "mounts"]
        said = f"Watching {', '.join(things)} and disks."
        if self._troubles:
            said = f"Can't watch {'; '.join(self._troubles)}. {said}"
        if self._failure:
            said = f"{self._failure} {said}"
        if self.settling.due is not None and not self._failure:
            return f"Something changed; the machine is read once that has settled. {said}"
        readings = (
            "no reading"
            if not self._asked
            else "a reading"
            if self._asked == 1
            else f"{self._asked} readings"
        )
        return f"{said} Asked for {readings} since it began."


def main(arguments: Sequence[str]) -> int:
    """``arguments``: the machine's root; the folder for requests, or "" and the command line of a reading."""
    root, folder, *command = arguments
    return Watch(Machine(root), RequestFile(Path(folder)) if folder else Child(command)).run()
