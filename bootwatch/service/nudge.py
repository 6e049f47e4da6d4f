"""Wakes who waits for changes in a folder and for the end: no looking again and again."""

from __future__ import annotations

import contextlib
import os
import selectors
import signal
from collections.abc import Collection, Iterator
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from bootwatch.problem import MachineProblem

# Not among them: that somebody opened or read a file.
_CHANGES = frozenset({"moved", "created", "modified", "deleted", "closed"})


class Nudge(FileSystemEventHandler):
    """``is_over``: somebody asked this program to end, or the folder is gone."""

    def __init__(self, folder: Path, names: Collection[str]) -> None:
        self.is_over = False
        self._folder, self._names = folder, names
        self._reader, self._writer = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)

    @classmethod
    @contextlib.contextmanager
    def on(cls, folder: Path, names: Collection[str]) -> Iterator[Nudge]:
        """Nudges for changes of files called ``names`` anywhere below ``folder``, and for SIGTERM and SIGINT.

        Raises MachineProblem where there is no such folder.
        """
        nudge, observer = cls(folder, names), Observer()
        try:
            observer.schedule(nudge, str(folder), recursive=True)
            observer.start()
        except OSError as error:
            raise MachineProblem(
                f"Changes in {folder} can't be waited for: {error.strerror}.",
                "The folder is made when bootwatch is installed.",
            ) from error
        former = [(number, signal.signal(number, nudge._end)) for number in (signal.SIGTERM, signal.SIGINT)]
        try:
            yield nudge
        finally:
            for number, handler in former:
                signal.signal(number, handler)
            observer.stop()
            observer.join()
            os.close(nudge._reader)
            os.close(nudge._writer)

    def wait(self, also: int, timeout: float | None) -> None:
        """Return when something changed, when ``also`` can be read, or after ``timeout`` seconds."""
        with selectors.DefaultSelector() as selector:
            selector.register(also, selectors.EVENT_READ)
            selector.register(self._reader, selectors.EVENT_READ)
            selector.select(timeout)
        with contextlib.suppress(BlockingIOError):
            os.read(self._reader, 4096)

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Called by the library, on a thread of its own."""
        if event.event_type not in _CHANGES:
            return
        # Before the library's version 4 only what moved has a second path.
        found = (event.src_path, getattr(event, "dest_path", ""))
        paths = [Path(os.fsdecode(path)) for path in found if path]
        if event.event_type == "deleted" and self._folder in paths:
            self._end()
        elif any(path.name in self._names for path in paths):
            self._wake()

    def _end(self, *_: object) -> None:
        self.is_over = True
        self._wake()

    def _wake(self) -> None:
        with contextlib.suppress(BlockingIOError):
            os.write(self._writer, b"!")
