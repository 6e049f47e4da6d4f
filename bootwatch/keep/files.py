"""Writing so that nothing is lost: a temporary file, fsync, rename."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path


def write_whole(path: Path, data: bytes, mode: int = 0o640, beside: Path | None = None) -> None:
    """Put ``data`` at ``path``: the old content or the whole new one is there, whatever fails meanwhile.

    The temporary file lies in the folder ``beside`` (of the same file system), usually the file's own. Raises
    OSError when it could not be written; the old content is then untouched.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=beside or path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            os.fchmod(file.fileno(), mode)
            _share_with_group(file.fileno(), path.parent)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)
        raise
    sync_folder(path.parent)


def _share_with_group(handle: int, folder: Path) -> None:
    """Give a file its folder's group, so that those whom the folder is for can read what root writes."""
    with contextlib.suppress(PermissionError):
        os.fchown(handle, -1, folder.stat().st_gid)


def append_line(path: Path, line: str, mode: int = 0o640) -> None:
    """Add a line to a file that only grows. Raises OSError, and then no part of the line is there."""
    data = line.encode() + b"\n"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, mode)
    try:
        _share_with_group(handle, path.parent)
        before = os.fstat(handle).st_size
        if os.write(handle, data) != len(data):
            os.ftruncate(handle, before)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    finally:
        os.close(handle)
    sync_folder(path.parent)


def read_plain(path: Path, limit: int) -> bytes:
    """A file that somebody else may have put there.

    Raises OSError, also for a link, for what is no plain file (a pipe would be waited for without end), and
    for what is longer than ``limit`` bytes.
    """
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(handle, "rb") as file:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            raise OSError(errno.EINVAL, "it is no plain file", str(path))
        data = b"" if about.st_size > limit else file.read(limit + 1)
    if max(about.st_size, len(data)) > limit:
        raise OSError(errno.EFBIG, "it is longer than any that bootwatch writes", str(path))
    return data


def nearest_folder(path: Path) -> Path:
    """``path`` itself if it can be seen to exist, else the nearest folder above it that can."""
    while not os.path.exists(path) and path != path.parent:
        path = path.parent
    return path


def may_write(folder: Path) -> bool:
    """Whether the caller may write in ``folder``, or make it.

    Root may not where the folder is somebody else's: what root writes there could be led astray.
    """
    folder = nearest_folder(folder)
    return os.access(folder, os.W_OK) and (os.geteuid() != 0 or folder.stat().st_uid == 0)


@contextlib.contextmanager
def locked(handle: int) -> Iterator[None]:
    """Hold an open file or folder alone, once whoever has it lets go; it is closed afterwards."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """One writer at a time in a folder that all of them may write; what those left who were cut off is taken
    away. Raises OSError."""
    folder.mkdir(mode=0o750, parents=True, exist_ok=True)
    handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    with locked(handle):
        remove_leftovers(folder)
        yield


def remove_leftovers(folder: Path) -> None:
    """Temporary files of writers who were cut off; nobody else may be writing. Raises OSError."""
    for path in folder.glob(".*.*"):
        if not path.is_dir():
            path.unlink(missing_ok=True)


def is_read_only(folder: Path) -> bool:
    """Whether the file system is one on which nothing can be written."""
    return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)


def sync_folder(folder: Path) -> None:
    """Make renames and removals in ``folder`` last through a power cut."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
