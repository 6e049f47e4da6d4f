"""What a machine answered while it was read, so that it can be asked the very same once more.

What a reading makes of a machine depends on nothing but what the machine answers: so where every question
gets the answer that it got last time, the machine is as it was then, and need not be taken apart again. Taken
down are the digests of all answers: folders, links, variables, sectors, and each file's content; but not how
much room is left on a mounted volume, which follows from what lies on it, nor all that is in files:

A file is not read again only when all of this holds:

* It is no program (does not begin with MZ) and larger than 64 KiB.
* Everything around it is the same. On a volume that isn't mounted: every byte that was read of its boot
  sector, its FAT and its folders, with that the file's whole slot (name, size, first cluster, times of
  creation, of change and of access) and its chain. Through a mount: its size, its times of change (mtime and
  ctime, to the nanosecond; on FAT they are one), its inode and device number, and those of everything else in
  its folder.
* It was not changed within some seconds before it was read: what changes again in the same tick of the clock
  that a file system writes down shows in nothing but the content.

`service.again` says when answers are asked for at all: within the same start and the same day.
"""

from __future__ import annotations

import datetime
import hashlib
import io
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any, cast

from bootwatch.observe.machine import Listed, Machine

Entry = list[Any]
_CHUNK = 512 << 10
_MARK = 32  # hex digits kept of a digest
# Seconds. Within a tick a second change may not show in a file's times: FAT counts in steps of 2.
_TICK = 5
_LONGEST_READING = 120
_ZONE = 900  # FAT times are some zone's; zones differ by quarters of an hour, and not by more than 15 hours
_FARTHEST = 15 * 3600
# The times in a TPM's answer (TPM 2.0 part 2 §10.11.6) go on from one question to the next.
_TPM_TIMES = slice(10, 26)
_QUESTIONS = frozenset(
    ("locate", "link", "names", "about", "room", "listed", "is_folder", "read", "read_once")
)


class Answers:
    """The answers in the order of the questions, as plain JSON values. ``is_whole``: whether asking for them
    again tells enough."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.is_whole = True
        self.in_file = False
        self._began = datetime.datetime.now(datetime.UTC)
        self._stretches: list[tuple[int, int, int]] = []

    def spoil(self) -> None:
        """Something can't be asked again in this way."""
        self.is_whole = False

    def note(self, *entry: Any) -> None:
        self.entries.append(list(entry))

    def begin_file(self) -> None:
        """From here on stretches are a file's content."""
        self.in_file = True
        self._stretches = []

    def stretch(self, handle: int, offset: int, length: int) -> None:
        self._stretches.append((handle, offset, length))

    def end_file(self, sha256: str | None, place: str, *, must_read: bool) -> None:
        """A file was read whole. ``place``: where it lies, if not in the stretches that were read."""
        self.in_file = False
        if sha256 is None:
            self.spoil()
        elif must_read and place:
            self.note("file", place, sha256)
        elif must_read:
            self.note("content", self._stretches, sha256)

    def note_time(self, text: str) -> None:
        """When a file on a FAT volume was changed, in some zone's time; "" where it doesn't say."""
        if not text:
            return
        age = (self._began - datetime.datetime.fromisoformat(f"{text}+00:00")).total_seconds()
        since = (age + _ZONE / 2) % _ZONE - _ZONE / 2
        if abs(age) < _FARTHEST and -_LONGEST_READING < since < _TICK:
            self.spoil()

    def note_listed(self, found: list[Listed]) -> None:
        """When what lies in a folder was changed."""
        latest = self._began.timestamp() - _TICK
        for one in found:
            if one.about is None or max(one.about.st_mtime, one.about.st_ctime) > latest:
                self.spoil()


class Questioned(Machine):
    """A machine whose answers are taken down."""

    def __init__(self, root: str | os.PathLike[str] = "/") -> None:
        super().__init__(root)
        self.taken = self.answers = Answers()
        self._depth = 0
        self._opened = 0

    def locate(self, path: str) -> str:
        return cast(str, self._ask("locate", path))

    def link(self, path: str) -> str:
        return cast(str, self._ask("link", path))

    def names(self, path: str) -> list[str]:
        return cast(list[str], self._ask("names", path))

    def about(self, place: str) -> os.stat_result:
        return cast(os.stat_result, self._ask("about", place))

    def room(self, place: str) -> os.statvfs_result:
        return cast(os.statvfs_result, self._ask("room", place))

    def listed(self, place: str) -> list[Listed]:
        found = cast(list[Listed], self._ask("listed", place))
        self.taken.note_listed(found)
        return found

    def is_folder(self, path: str) -> bool:
        return cast(bool, self._ask("is_folder", path))

    def read(self, path: str, limit: int = 1 << 20) -> bytes:
        return cast(bytes, self._ask("read", path, limit))

    def read_once(self, path: str, room: int, most: int) -> bytes:
        return cast(bytes, self._ask("read_once", path, room, most))

    def exchange(self, path: str, request: bytes, room: int, seconds: float) -> bytes:
        return cast(bytes, self._ask("exchange", path, request.hex(), room, seconds))

    def _ask(self, kind: str, *arguments: Any) -> Any:
        """What is asked in the course of another question is part of that."""
        with self._inside() as is_first:
            try:
                answer = _answer(super(), kind, arguments)
            except OSError as error:
                if is_first:
                    self.taken.note(kind, *arguments, _failure(error))
                raise
            if is_first:
                self.taken.note(kind, *arguments, _mark(kind, answer))
            return answer

    @contextmanager
    def _inside(self) -> Iterator[bool]:
        self._depth += 1
        try:
            yield self._depth == 1
        finally:
            self._depth -= 1

    @contextmanager
    def open(self, path: str) -> Iterator[io.BufferedReader]:
        with ExitStack() as stack:
            with self._inside() as is_first:
                try:
                    file = stack.enter_context(super().open(path))
                except OSError as error:
                    if is_first:
                        self.taken.note("open", path, _failure(error))
                    raise
            if not is_first:
                yield file
                return
            self.taken.note("open", path, "opened")
            self._opened += 1
            yield cast(io.BufferedReader, _Watched(file, self._opened, self.taken))


class _Watched:
    """A file or device, and what was read of it."""

    def __init__(self, file: io.BufferedReader, handle: int, answers: Answers) -> None:
        self._file, self._handle, self._answers = file, handle, answers
        self._at = 0

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        self._at = self._file.seek(offset, whence)
        if whence == os.SEEK_END:
            self._answers.note("end", self._handle, offset, self._at)
        return self._at

    def read(self, size: int = -1) -> bytes:
        at = self._at
        try:
            data = self._file.read(size)
        except OSError as error:
            self._answers.note("at", self._handle, at, size, _failure(error))
            raise
        self._at += len(data)
        self._answers.note("at", self._handle, at, size, _digest(data))
        return data

    def readinto(self, buffer: memoryview) -> int:
        if not self._answers.in_file:
            data = self.read(len(buffer))
            buffer[: len(data)] = data
            return len(data)
        count = self._file.readinto(buffer)
        self._answers.stretch(self._handle, self._at, count)
        self._at += count
        return count


def answers_the_same(machine: Machine, entries: Iterable[Entry]) -> bool:
    """Whether a machine gives the very answers once more; stops at the first that differs.

    The entries are the reader's own, but may be damaged: any kind of nonsense is a difference.
    """
    files: list[io.BufferedReader] = []
    buffer = memoryview(bytearray(_CHUNK))
    try:
        with ExitStack() as stack:
            return all(_is_same(machine, entry, files, stack, buffer) for entry in entries)
    except (KeyError, IndexError, TypeError, ValueError, OverflowError, AttributeError):
        return False


def _is_same(
    machine: Machine, entry: Entry, files: list[io.BufferedReader], stack: ExitStack, buffer: memoryview
) -> bool:
    kind, *arguments, expected = entry
    found: object
    try:
        if kind == "at":
            handle, offset, size = arguments
            files[handle - 1].seek(offset)
            found = _digest(files[handle - 1].read(size))
        elif kind == "content":
            found = _digest_of(arguments[0], files, buffer)
        elif kind == "file":
            with open(arguments[0], "rb", buffering=0) as file:
                found = _digest_of_file(file, buffer)
        elif kind == "end":
            found = files[arguments[0] - 1].seek(arguments[1], os.SEEK_END)
        elif kind == "open":
            files.append(stack.enter_context(machine.open(arguments[0])))
            found = "opened"
        else:
            found = _mark(kind, _answer(machine, kind, arguments))
    except OSError as error:
        found = _failure(error)
    return bool(found == expected)


def _answer(machine: Any, kind: str, arguments: Sequence[Any]) -> Any:
    """Ask a machine (or what `super` gives of one)."""
    if kind == "exchange":
        path, request, *rest = arguments
        return machine.exchange(path, bytes.fromhex(request), *rest)
    if kind not in _QUESTIONS:
        raise KeyError(kind)
    return getattr(machine, kind)(*arguments)


def _mark(kind: str, answer: Any) -> str:
    """What is kept of an answer."""
    if kind == "exchange":
        return _digest(answer[: _TPM_TIMES.start] + answer[_TPM_TIMES.stop :])
    if isinstance(answer, bytes):
        return _digest(answer)
    if kind == "about":
        answer = (answer.st_mode, answer.st_size, answer.st_dev)
    elif kind == "room":
        answer = (answer.f_frsize, answer.f_blocks, answer.f_bavail)
    elif kind == "listed":
        answer = [(one.name, _face(one)) for one in answer]
    return _digest(repr(answer).encode("utf-8", "backslashreplace"))


def _face(one: Listed) -> object:
    """What must be the same of a file in a folder."""
    about = one.about
    if about is None:
        return None
    if one.is_folder:  # what is in it is asked for by itself
        return about.st_mode, about.st_mtime_ns
    return about.st_mode, about.st_size, about.st_mtime_ns, about.st_ctime_ns, about.st_ino, about.st_dev


def _failure(error: OSError) -> str:
    return f"{type(error).__name__} {error.errno} {error.strerror}"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_MARK]


def _digest_of(
    stretches: Sequence[tuple[int, int, int]], files: Sequence[io.BufferedReader], buffer: memoryview
) -> str:
    digest = hashlib.sha256()
    for handle, offset, length in stretches:
        files[handle - 1].seek(offset)
        digest.update(buffer[: files[handle - 1].readinto(buffer[:length])])
    return digest.hexdigest()


def _digest_of_file(file: io.FileIO, buffer: memoryview) -> str:
    digest = hashlib.sha256()
    while count := file.readinto(buffer):
        digest.update(buffer[:count])
    return digest.hexdigest()
