"""The files of a recovery kit that somebody hands in: a folder or a zip, bounded, and no link followed."""

from __future__ import annotations

import os
import stat
import zipfile
import zlib
from pathlib import Path
from typing import Protocol

from bootwatch.problem import Problem, UsageProblem

MOST_FILES = 20_000
MOST_BYTES = 2 << 30
MOST_OF_ONE = 64 << 20
# Those that a kit is written with, or packed with by hand: they unpack within bounds.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_PLAIN = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC


class Files(Protocol):
    """What lies in a kit, by paths with slashes. Each may raise Problem."""

    name: str

    def sizes(self) -> dict[str, int]: ...

    def read(self, path: str, limit: int = MOST_OF_ONE) -> bytes: ...


class FolderFiles:
    """A kit in a folder."""

    def __init__(self, folder: Path) -> None:
        self.name, self._folder = str(folder), folder

    def sizes(self) -> dict[str, int]:
        found: dict[str, int] = {}
        try:
            for place, folders, names, handle in os.fwalk(self._folder, onerror=_raise):
                above = os.path.relpath(place, self._folder)
                for name in (*folders, *names):
                    about = os.stat(name, dir_fd=handle, follow_symlinks=False)
                    path = name if above == "." else f"{above}/{name}"
                    if stat.S_ISREG(about.st_mode):
                        found[path] = about.st_size
                    elif not stat.S_ISDIR(about.st_mode):
                        raise Problem(f"{self.name} is no sound kit: {path} is neither a file nor a folder.")
                _require_few(self.name, found)
        except OSError as error:
            raise _unreadable(self.name, error) from error
        return found

    def read(self, path: str, limit: int = MOST_OF_ONE) -> bytes:
        try:
            # Each folder by itself, so that none of them is a link.
            handle = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
            for name in path.split("/")[:-1]:
                above = handle
                try:
                    handle = os.open(name, _PLAIN | os.O_DIRECTORY, dir_fd=above)
                finally:
                    os.close(above)
            try:
                own = os.open(path.rpartition("/")[2], _PLAIN, dir_fd=handle)
            finally:
                os.close(handle)
            with os.fdopen(own, "rb") as file:
                return _bounded(self.name, path, file.read(limit + 1), limit)
        except OSError as error:
            raise _unreadable(f"{self.name}/{path}", error) from error


class ZipFiles:
    """A kit in a zip."""

    def __init__(self, file: Path) -> None:
        self.name = str(file)
        try:
            self._archive = zipfile.ZipFile(file)
        except OSError as error:
            raise _unreadable(self.name, error) from error
        except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
            raise UsageProblem(f"{self.name} is no recovery kit: it is no sound zip.", _AGAIN) from error

    def sizes(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for one in self._archive.infolist():
            if one.is_dir():
                continue
            if one.filename in found:
                raise Problem(f"{self.name} is no sound kit: it holds {one.filename} twice.")
            found[one.filename] = one.file_size
            if len(found) > MOST_FILES:
                break
        _require_few(self.name, found)
        return found

    def read(self, path: str, limit: int = MOST_OF_ONE) -> bytes:
        try:
            if self._archive.getinfo(path).compress_type not in _METHODS:
                raise Problem(f"{self.name} is no sound kit: {path} is packed by another method.", _AGAIN)
            with self._archive.open(path) as file:
                return _bounded(self.name, path, file.read(limit + 1), limit)
        except KeyError as error:
            raise UsageProblem(f"{self.name} is no recovery kit: it lacks {path}.", _AGAIN) from error
        except (
            OSError,
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            RuntimeError,
            NotImplementedError,
        ) as error:
            raise Problem(f"{self.name} is damaged: {path} can't be unpacked.", _AGAIN) from error


_AGAIN = "A kit is made by: sudo bootwatch baseline export --to FOLDER"


def files_at(place: Path) -> Files:
    """Raises UsageProblem where nothing is there."""
    if place.is_dir():
        return FolderFiles(place)
    if place.is_file():
        return ZipFiles(place)
    raise UsageProblem(f"There is no recovery kit {place}.", _AGAIN)


def _require_few(name: str, sizes: dict[str, int]) -> None:
    if len(sizes) > MOST_FILES or sum(sizes.values()) > MOST_BYTES:
        raise Problem(f"{name} holds more than any recovery kit.", _AGAIN)


def _bounded(name: str, path: str, data: bytes, limit: int) -> bytes:
    if len(data) > limit:
        raise Problem(f"{name} is no sound kit: {path} is larger than anything in one.", _AGAIN)
    return data


def _unreadable(name: str, error: OSError) -> UsageProblem:
    return UsageProblem(f"{name} can't be read: {error.strerror}.", "Run it with sudo, or name another kit.")


def _raise(error: OSError) -> None:
    raise error
