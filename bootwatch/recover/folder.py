"""Files on a boot volume that is reached through a folder, by the paths that firmware uses."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from bootwatch.keep.files import sync_folder
from bootwatch.model.path import fold
from bootwatch.problem import Problem
from bootwatch.recover.paths import parts_of

_LIMIT = 64 << 20


class Folder:
    """A volume's top folder, mounted by anybody. Nothing follows links: a FAT volume has none."""

    def __init__(self, top: Path) -> None:
        self.top = top

    def read(self, path: str) -> bytes | None:
        """A file's content, None where there is none. Raises Problem for what is no plain file, OSError."""
        place = self._place(path)
        try:
            handle = os.open(place, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK)
        except FileNotFoundError:
            return None
        with os.fdopen(handle, "rb") as file:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise Problem(f"{path} is there, and it is no plain file.")
            return file.read(_LIMIT)

    def write(self, path: str, data: bytes) -> None:
        """Put a file in place: the former one or the whole new one is there, whatever fails meanwhile.

        Folders above it are made. Raises OSError.
        """
        place = self._place(path)
        self._make_folders(place.parent)
        beside = place.with_name(f"{place.name}.new")
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(beside, place)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(beside)
            raise
        sync_folder(place.parent)

    def remove(self, path: str) -> None:
        """Take a file away; one that isn't there is fine. Raises OSError."""
        place = self._place(path)
        with contextlib.suppress(FileNotFoundError):
            os.unlink(place)
            sync_folder(place.parent)

    def free_bytes(self) -> int:
        about = os.statvfs(self.top)
        return about.f_bavail * about.f_frsize

    def _make_folders(self, folder: Path) -> None:
        missing = []
        while folder != self.top and not os.path.lexists(folder):
            missing.append(folder)
            folder = folder.parent
        for one in reversed(missing):
            os.mkdir(one, 0o755)
            sync_folder(one.parent)

    def _place(self, path: str) -> Path:
        """Where a file lies or would lie, spelled as what is there. Raises Problem for a link on the way."""
        place = self.top
        for name in parts_of(path):
            place = place / self._spelled(place, name)
            if place.is_symlink():
                raise Problem(f"{path} leads over a link, and a boot volume has none.")
        return place

    @staticmethod
    def _spelled(folder: Path, name: str) -> str:
        try:
            there = os.listdir(folder)
        except (FileNotFoundError, NotADirectoryError):
            return name
        return next((one for one in there if fold(one) == fold(name)), name)
