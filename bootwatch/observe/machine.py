"""The machine root: the only place that knows how to get at what lies on the machine."""

from __future__ import annotations

import errno
import io
import os
import select
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from bootwatch.model.gap import Reason

if TYPE_CHECKING:
    from bootwatch.observe.answers import Answers

_MOST_LINKS = 40
_ABSENT = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ENXIO, errno.ENODEV})
_DENIED = frozenset({errno.EACCES, errno.EPERM})


class LeavesRoot(OSError):
    """A link below the machine root leads out of it."""


def reason_for(error: OSError) -> Reason:
    """Why an access failed. ENXIO and ENODEV come from a device node behind which nothing is any more."""
    if error.errno in _ABSENT:
        return Reason.ABSENT
    return Reason.DENIED if error.errno in _DENIED else Reason.UNREADABLE


def reason_in_reading(error: OSError) -> Reason:
    """Why reading what was already opened failed: what vanishes meanwhile is unreadable."""
    return Reason.DENIED if error.errno in _DENIED else Reason.UNREADABLE


def detail_of(error: OSError) -> str:
    """The error in the system's own words."""
    return error.strerror or str(error)


class Listed(NamedTuple):
    """One name in a folder: its lstat(2), None with the error where that failed."""

    name: str
    place: str
    about: os.stat_result | None
    error: OSError | None = None

    @classmethod
    def of(cls, entry: os.DirEntry[str]) -> Listed:
        try:
            return cls(entry.name, entry.path, entry.stat(follow_symlinks=False))
        except OSError as error:
            return cls(entry.name, entry.path, None, error)

    @property
    def is_folder(self) -> bool:
        return self.about is not None and stat.S_ISDIR(self.about.st_mode)

    @property
    def is_file(self) -> bool:
        return self.about is not None and stat.S_ISREG(self.about.st_mode)


class Machine:
    """One PC, read through one root folder; links are resolved inside it.

    Every method takes a path below the root, without a leading slash, and raises OSError: FileNotFoundError
    for what isn't there, LeavesRoot for a link that leads out.
    """

    answers: Answers | None = None
    """What it answered, where that is taken down (see `answers`)."""

    def __init__(self, root: str | os.PathLike[str] = "/") -> None:
        self.root = os.path.abspath(root)

    def locate(self, path: str) -> str:
        """Where ``path`` really lies, every link on the way resolved inside the root."""
        if self.root == "/":
            return "/" + path.lstrip("/")
        done: list[str] = []
        todo = path.split("/")[::-1]
        links = 0
        while todo:
            name = todo.pop()
            if name in ("", "."):
                continue
            if name == "..":
                self._climb(done, path)
                continue
            target = self._link_target([*done, name])
            if target is None:
                done.append(name)
                continue
            links += 1
            if links > _MOST_LINKS:
                raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), path)
            if target.startswith("/"):
                done = []
            todo.extend(target.split("/")[::-1])
        return os.path.join(self.root, *done)

    @staticmethod
    def _climb(done: list[str], path: str) -> None:
        if not done:
            raise LeavesRoot(errno.EXDEV, "a link leads out of the machine root", path)
        done.pop()

    def _link_target(self, names: list[str]) -> str | None:
        try:
            return os.readlink(os.path.join(self.root, *names))
        except OSError:
            return None  # not a link, or not there: opening it will say

    def link(self, path: str) -> str:
        """The text of the link at ``path``."""
        folder, _, name = path.rpartition("/")
        return os.readlink(os.path.join(self.locate(folder), name))

    def names(self, path: str) -> list[str]:
        """The names in a folder, sorted."""
        return sorted(os.listdir(self.locate(path)))

    def about(self, place: str) -> os.stat_result:
        """stat(2) of a place that `locate` gave, or that lies below one."""
        return os.stat(place)

    def room(self, place: str) -> os.statvfs_result:
        """statvfs(3) of a place that `locate` gave."""
        return os.statvfs(place)

    def free(self, place: str) -> int:
        """Free bytes of the volume mounted at a place that `locate` gave."""
        usage = os.statvfs(place)
        return usage.f_bavail * usage.f_frsize

    def listed(self, place: str) -> list[Listed]:
        """What lies in a folder that `locate` gave, or below one, sorted by name. Links are not followed."""
        return sorted(map(Listed.of, os.scandir(place)), key=lambda one: one.name)

    @contextmanager
    def open_listed(self, place: str) -> Iterator[BinaryIO]:
        """A file out of `listed`, for reading."""
        with open(place, "rb") as file:
            yield file

    def is_folder(self, path: str) -> bool:
        try:
            return os.path.isdir(self.locate(path))
        except OSError:
            return False

    def read(self, path: str, limit: int = 1 << 20) -> bytes:
        """The first ``limit`` bytes of a file."""
        with self.open(path) as file:
            return file.read(limit)

    def text(self, path: str) -> str:
        """A small text file, without the white space around it."""
        return self.read(path).decode("utf-8", "replace").strip()

    def text_or_none(self, path: str) -> str | None:
        """A small text file that need not be there; None as well where it can't be read."""
        try:
            return self.text(path)
        except OSError:
            return None

    def number_or_none(self, path: str) -> int | None:
        text = self.text_or_none(path)
        return int(text) if text and text.isascii() and text.isdigit() else None

    @contextmanager
    def open(self, path: str) -> Iterator[io.BufferedReader]:
        """A file or block device, for reading. Other kinds of file are refused: they could hang."""
        handle = os.open(self.locate(path), os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
        try:
            mode = os.fstat(handle).st_mode
            if not (stat.S_ISREG(mode) or stat.S_ISBLK(mode)):
                raise OSError(errno.EINVAL, "neither a file nor a block device", path)
            if stat.S_ISBLK(mode):
                # The whole disk's cache doesn't see what was written through a partition's node.
                os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            with os.fdopen(handle, "rb", closefd=False) as file:
                yield file
        finally:
            os.close(handle)

    def read_once(self, path: str, room: int, most: int) -> bytes:
        """The whole of a file by a single read(2), with a buffer of ``room`` to ``most`` bytes.

        Each read of a firmware variable costs two firmware calls, so a second one to see the end is too many.
        """
        handle = os.open(self.locate(path), os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
        try:
            return os.read(handle, min(max(room, os.fstat(handle).st_size + 1), most))
        finally:
            os.close(handle)

    def exchange(self, path: str, request: bytes, room: int, seconds: float) -> bytes:
        """What a device answers to a request, its first ``room`` bytes. Raises TimeoutError when it doesn't.

        A plain file in the device's place holds an answer, recorded on a machine: it is read, never written.
        """
        place = self.locate(path)
        if stat.S_ISREG(os.stat(place).st_mode):
            return self.read(path, room)
        handle = os.open(place, os.O_RDWR | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY)
        hangs = False
        try:
            if not stat.S_ISCHR(os.fstat(handle).st_mode):
                raise OSError(errno.EINVAL, "neither a device nor a file", path)
            os.write(handle, request)
            waiting = select.poll()
            waiting.register(handle, select.POLLIN)
            hangs = not waiting.poll(round(seconds * 1000))
            if hangs:
                raise TimeoutError(errno.ETIMEDOUT, f"no answer within {seconds:g} seconds", path)
            return os.read(handle, room)
        finally:
            # Closing waits until the device has answered, so one that hangs is left to the process's end.
            if not hangs:
                os.close(handle)
