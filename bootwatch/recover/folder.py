"""Files on a boot volume that is reached through a folder, by the paths that firmware uses."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from bootwatch.keep.files import sync_folder
from bootwatch.model.path import fold
from bootwatch.problem import Problem
from bootwatch.recover.paths import beside, parts_of

_LIMIT = 256 << 20


class Folder:
    """A volume's top folder, mounted by anybody. Nothing follows links: a FAT volume has none."""

    def __init__(self, top: Path) -> None:
        self.top = top
        self._device = os.stat(top).st_dev

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
            # From the volume itself and not what was just written into memory; only what was synced goes.
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            content = file.read(_LIMIT + 1)
        if len(content) > _LIMIT:
            raise Problem(f"{path} is larger than what is read here ({_LIMIT >> 20} MiB).")
        return content

    def write(self, path: str, data: bytes) -> None:
        """Put a file in place: the former one or the whole new one is there, whatever fails meanwhile.

        Folders above it are made. Raises OSError.
        """
        place = self._place(path)
        for one in self._missing(place.parent):
            os.mkdir(one, 0o755)
            sync_folder(one.parent)
        unfinished = self._place(beside(path))
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_CLOEXEC
        handle = os.open(unfinished, flags, 0o600)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(unfinished, place)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(unfinished)
            raise
        sync_folder(place.parent)

    def remove(self, path: str) -> None:
        """Take a file away; one that isn't there is fine. Raises OSError."""
        place = self._place(path)
        with contextlib.suppress(FileNotFoundError):
            os.unlink(place)
            sync_folder(place.parent)

    def remove_folder(self, path: str) -> None:
        """Take a folder away if nothing lies in it. Raises OSError where the volume can't be written."""
        place = self._place(path)
        if place.is_dir() and not os.listdir(place):
            os.rmdir(place)
            sync_folder(place.parent)

    def missing_folders(self, path: str) -> list[str]:
        """The folders that writing a file would make, the uppermost first."""
        names, missing = parts_of(path), len(self._missing(self._place(path).parent))
        depth = len(names) - 1
        return ["\\" + "\\".join(names[:end]) for end in range(depth - missing + 1, depth + 1)]

    def room(self) -> tuple[int, int]:
        """Free bytes, and in what unit they are given out."""
        about = os.statvfs(self.top)
        return about.f_bavail * about.f_frsize, about.f_frsize

    def require_writable(self) -> None:
        """Raises Problem where it is mounted read-only."""
        if os.statvfs(self.top).f_flag & os.ST_RDONLY:
            raise Problem(
                f"The boot volume is mounted read-only at {self.top}.",
                f"If nothing is wrong with it: sudo mount -o remount,rw {self.top}. A volume that went "
                "read-only by itself is damaged: unmount it and look with fsck.vfat -n.",
            )

    def _missing(self, folder: Path) -> list[Path]:
        missing: list[Path] = []
        while folder != self.top and not os.path.lexists(folder):
            missing.insert(0, folder)
            folder = folder.parent
        return missing

    def _place(self, path: str) -> Path:
        """Where a file lies or would lie, spelled as what is there. Raises Problem for a link on the way, and
        for another file system that is mounted there."""
        place = self.top
        for name in parts_of(path):
            place = place / self._spelled(place, name)
            try:
                about = place.lstat()
            except (FileNotFoundError, NotADirectoryError):
                continue
            if stat.S_ISLNK(about.st_mode):
                raise Problem(f"{path} leads over a link, and a boot volume has none.")
            if about.st_dev != self._device:
                raise Problem(f"{path} leads into another file system, which is mounted at {place}.")
        return place

    @staticmethod
    def _spelled(folder: Path, name: str) -> str:
        try:
            there = os.listdir(folder)
        except (FileNotFoundError, NotADirectoryError):
            return name
        if name in there:
            return name
        return next((one for one in there if fold(one) == fold(name)), name)
