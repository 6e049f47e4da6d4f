"""Watching folders by the watchdog library."""

from __future__ import annotations

import logging
import os
import threading
import warnings
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Any

from watchdog import events
from watchdog.observers.inotify import InotifyObserver

from bootwatch.service.watch_places import Target

Noticed = Callable[[Target, str, str], None]

# What a reading does besides (opened, closed without writing) is nobody's change.
_CHANGES = frozenset({"created", "deleted", "modified", "moved", "closed"})
# Asked of the kernel, too, where the library can: others open files in /etc and /run without end.
_WANTED = [
    *(events.FileCreatedEvent, events.FileDeletedEvent, events.FileModifiedEvent, events.FileMovedEvent),
    *(events.DirCreatedEvent, events.DirDeletedEvent, events.DirMovedEvent, events.FileClosedEvent),
]
_MOST_FOLDERS = 5000
# The library goes down by calling itself. FAT's usual paths of 260 characters hold no more.
_DEEPEST = 200
# Each takes threads, of which the unit has 128.
_MOST_TARGETS = 40


class Folders:
    """The folders that are watched now. ``noticed`` gets target, what happened and the path, in other
    threads; ``failed`` is called when the library lost something."""

    def __init__(self, noticed: Noticed, failed: Callable[[], None]) -> None:
        self._noticed, self._failed = noticed, failed
        self._observer: Any = None
        threading.excepthook = self._thread_died
        # That a folder was known already, which comes of two events about one.
        warnings.filterwarnings("ignore", category=RuntimeWarning, module="watchdog")
        logging.getLogger("watchdog").addHandler(_Complaints(self._complain))

    def renew(self, targets: Iterable[Target]) -> list[str]:
        """Watch these, and only these, from now on; what can't be watched, and why.

        Everything is made anew each time. So nothing has to be known of what the library lost or mixed up:
        folders that moved, came while its queue was full, or were unmounted. What happens meanwhile is seen
        by the reading that has to follow.
        """
        self.close()
        try:
            self._observer = InotifyObserver()
            self._observer.start()
        except OSError as error:
            self._observer = None
            return [f"anything ({_reason(error)})"]
        wanted = list(targets)
        troubles = [trouble for target in wanted[:_MOST_TARGETS] if (trouble := self._add(target))]
        left = [f"{target.path} (more than {_MOST_TARGETS} places)" for target in wanted[_MOST_TARGETS:]]
        return troubles + left

    def close(self) -> None:
        observer, self._observer = self._observer, None
        if observer:
            observer.stop()
            observer.join()

    @property
    def is_alive(self) -> bool:
        return self._observer is None or self._observer.is_alive()

    def _add(self, target: Target) -> str:
        wanted, handles, before = _count(target), _inotify_handles(), _watches()
        if wanted > _MOST_FOLDERS:
            target, wanted = Target(target.path, names=target.names), 0
        try:
            self._schedule(_Handler(target, self._noticed), target)
        except (OSError, RecursionError) as error:
            # Debian 12's version of the library forgets the handle of one that failed.
            for handle in _inotify_handles() - handles:
                os.close(handle)
            return f"{target.path} ({_reason(error)})"
        if not wanted:
            return f"{target.path} (more than {_MOST_FOLDERS} folders, or {_DEEPEST} one in another)"
        # Not every version says of every folder that it can't be watched: the kernel knows.
        lacking = wanted - (_watches() - before)
        return f"{target.path} ({lacking} of {wanted} folders)" if lacking > 0 else ""

    def _schedule(self, handler: events.FileSystemEventHandler, target: Target) -> None:
        arguments: dict[str, Any] = {"recursive": target.below}
        if "event_filter" in InotifyObserver.schedule.__code__.co_varnames:
            arguments["event_filter"] = _WANTED
        self._observer.schedule(handler, target.path, **arguments)

    def _thread_died(self, what: threading.ExceptHookArgs) -> None:
        # One that is just being stopped may stumble over that.
        if self._observer:
            self._failed()

    def _complain(self) -> None:
        if self._observer:
            self._failed()


class _Handler(events.FileSystemEventHandler):
    def __init__(self, target: Target, noticed: Noticed) -> None:
        self._target, self._noticed = target, noticed

    def dispatch(self, event: events.FileSystemEvent) -> None:
        kind = event.event_type
        # A folder is modified whenever something in it is, which has an event of its own.
        if kind not in _CHANGES or (event.is_directory and kind == "modified"):
            return
        for path in (event.src_path, getattr(event, "dest_path", "")):
            if path and self._target.holds(os.fsdecode(path)):
                self._noticed(self._target, kind, os.fsdecode(path))
                return


class _Complaints(logging.Handler):
    """What the library logs as a warning is something that it lost."""

    def __init__(self, complain: Callable[[], None]) -> None:
        super().__init__(logging.WARNING)
        self._complain = complain

    def emit(self, record: logging.LogRecord) -> None:
        self._complain()


def _reason(error: OSError | RecursionError) -> str:
    if isinstance(error, RecursionError):
        return "too many folders one in another"
    # inotify_add_watch(2), inotify_init(2): no room and too many files mean the user's own limits.
    return {28: "the limit fs.inotify.max_user_watches", 24: "the limit fs.inotify.max_user_instances"}.get(
        error.errno or 0, error.strerror or str(error)
    )


def _count(target: Target) -> int:
    """How many folders there are to be watched; more than the limit as well where they go too deep."""
    if not target.below:
        return 1
    count, deepest = 0, target.path.count("/") + _DEEPEST
    for folder, _, _ in os.walk(target.path):
        count += 1
        if count > _MOST_FOLDERS or folder.count("/") > deepest:
            return _MOST_FOLDERS + 1
    return count


def _inotify_handles() -> set[int]:
    found = set()
    for name in os.listdir("/proc/self/fd"):
        with suppress(OSError):
            if os.readlink(f"/proc/self/fd/{name}") == "anon_inode:inotify":
                found.add(int(name))
    return found


def _watches() -> int:
    """How many folders the kernel watches for this process (proc(5), fdinfo)."""
    count = 0
    for handle in _inotify_handles():
        with suppress(OSError), open(f"/proc/self/fdinfo/{handle}") as file:
            count += sum(line.startswith("inotify") for line in file)
    return count
