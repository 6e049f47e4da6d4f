"""What a restore did: each step with what was there before it, kept before anything is written."""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import re
import shutil
import stat
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from bootwatch.keep.files import write_whole
from bootwatch.problem import Problem

FORMAT = "bootwatch/restore/1"
_FILE = "record.json"
_MODE = 0o640
_NUMBER = re.compile(r"[0-9]{4,9}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_MOST = 16 << 20  # a plan's bound and more


@dataclass
class Done:
    """One step as JSON. ``former`` is what was there before: for a file the SHA-256 of its content, for a
    variable its attributes and bytes, None where nothing was; ``read_back`` the same of what was found after
    writing where that was a surprise. ``folders`` are those that the step makes. ``is_done``: it was written
    and read back."""

    step: dict[str, Any]
    former: Any
    folders: list[str] = field(default_factory=list)
    is_done: bool = False
    read_back: Any = None


@dataclass
class Record:
    """One restore, in a folder of its own that root owns."""

    folder: Path
    document: dict[str, Any]
    done: list[Done] = field(default_factory=list)

    @property
    def number(self) -> int:
        return int(self.folder.name)

    @property
    def is_undone(self) -> bool:
        return bool(self.document.get("undone"))

    @property
    def is_finished(self) -> bool:
        """Whether every step was written; one that was stopped or cut off is not."""
        return bool(self.document.get("finished"))

    @property
    def written(self) -> list[Done]:
        return [one for one in self.done if one.is_done]

    @classmethod
    def begin(cls, folder: Path, **about: Any) -> Record:
        """A new one below ``folder``; it continues the newest where that isn't finished. Raises OSError, and
        Problem where that one is damaged."""
        _make(folder)
        unfinished = cls.newest(folder)
        if unfinished and not unfinished.is_finished:
            about["continues"] = unfinished.number
        number = max(map(int, _numbers(folder)), default=0) + 1
        own = folder / f"{number:04d}"
        _make(own)
        (own / "former").mkdir(mode=0o700)
        record = cls(own, {"format": FORMAT, **about})
        record.save()
        return record

    @classmethod
    def newest(cls, folder: Path) -> Record | None:
        """The last one that wrote something, or was about to, and wasn't undone; None where there is none.
        Raises Problem for a damaged one."""
        for name in sorted(_numbers(folder), key=int, reverse=True):
            record = cls.read(folder / name)
            if record and record.done and not record.is_undone:
                return record
        return None

    @classmethod
    def newest_of(cls, folder: Path, kind: str) -> Record | None:
        """The last of one kind that was written to its end and not taken back. Raises Problem."""
        for name in sorted(_numbers(folder), key=int, reverse=True):
            record = cls.read(folder / name)
            is_whole = record and record.done and record.is_finished and not record.is_undone
            if record and is_whole and record.document.get("kind") == kind:
                return record
        return None

    @classmethod
    def undoable(cls, folder: Path) -> list[Record]:
        """The newest and, where it went on with one that was cut off, that one too; newest first. Raises
        Problem."""
        record = cls.newest(folder)
        chain: list[Record] = []
        while record and record.done and not record.is_undone:
            chain.append(record)
            before = record.document.get("continues")
            is_earlier = isinstance(before, int) and 0 < before < record.number
            record = cls.read(folder / f"{before:04d}") if is_earlier else None
        return chain

    @classmethod
    def read(cls, own: Path) -> Record | None:
        """None for one that was cut off before anything was written. Raises Problem for a damaged one."""
        try:
            raw = (own / _FILE).read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise Problem(f"The record of a restore in {own} can't be read: {error.strerror}.") from error
        try:
            document = json.loads(raw[:_MOST])
            if document["format"] != FORMAT:
                raise ValueError(f"its format is {document['format']!r}")
            done = [Done(**one) for one in document.pop("steps")]
            return cls(own, document, done)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            raise Problem(
                f"The record of a restore in {own} can't be used ({type(error).__name__}: {error}).",
                "Nothing was written. If it can't be mended, move that folder away.",
            ) from error

    def save(self) -> None:
        """Raises OSError."""
        document = {**self.document, "steps": [asdict(one) for one in self.done]}
        write_whole(self.folder / _FILE, json.dumps(document, indent=1).encode(), _MODE)

    def discard(self) -> None:
        """Leave nothing of one that wrote nothing."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def keep(self, content: bytes) -> str:
        """Keep what a file held; its SHA-256. Raises OSError."""
        own = hashlib.sha256(content).hexdigest()
        write_whole(self.folder / "former" / own, content, 0o600)
        return own

    def kept(self, own: str) -> bytes:
        """Raises Problem where that is gone or damaged."""
        if not _DIGEST.fullmatch(own):
            raise Problem(f"The record in {self.folder} names {own!r}, which is no SHA-256.")
        try:
            content = (self.folder / "former" / own).read_bytes()
        except OSError as error:
            raise Problem(f"What was kept of a file can't be read: {error.strerror}.") from error
        if hashlib.sha256(content).hexdigest() != own:
            raise Problem(f"What was kept in {self.folder} of a file is damaged.")
        return content


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """One restore at a time writes. Raises Problem where another one does, where ``folder`` could be written
    by others than its owner, and where it can't be made."""
    try:
        _make(folder)
        _require_own(folder)
        handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    except OSError as error:
        raise Problem(
            f"What is there now can't be kept in {folder}: {error.strerror}. Nothing was written.",
            "Run it with sudo.",
        ) from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Problem("Another restore is being written; nothing was written by this one.") from error
        yield
    finally:
        os.close(handle)


def _require_own(folder: Path) -> None:
    """What is put back out of there must be what was put there: by nobody but the caller."""
    for one in (folder, *(folder / name for name in _numbers(folder))):
        about = one.lstat()
        is_own = about.st_uid == os.geteuid() and not about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
        if not stat.S_ISDIR(about.st_mode) or not is_own:
            raise Problem(
                f"Others could have changed what lies in {one}; nothing was written.",
                "It has to be a folder of root's own that nobody else may write to (mode 0750).",
            )


def _make(folder: Path) -> None:
    """A folder that the group of the one above it may look into. Raises OSError."""
    if folder.is_dir():
        return
    folder.mkdir(mode=0o750, parents=True)
    with contextlib.suppress(PermissionError):
        os.chown(folder, -1, folder.parent.stat().st_gid)


def _numbers(folder: Path) -> list[str]:
    try:
        return [name for name in os.listdir(folder) if _NUMBER.fullmatch(name)]
    except FileNotFoundError:
        return []
