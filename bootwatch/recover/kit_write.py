"""Writing a recovery kit: whole or not at all, and read back.

The folder may be a stick that somebody else owns: nothing follows a link, and what lies in the kit's place is
replaced only if it is a kit.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import stat
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

from bootwatch.keep.files import sync_folder
from bootwatch.problem import Problem, UsageProblem
from bootwatch.recover.kit_contents import ABOUT, SUMS

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
# The oldest time that a zip can say; a kit says when it was made in its own words.
_TIME = (1980, 1, 1, 0, 0, 0)

Files = dict[str, bytes]
Check = Callable[[Path], object]
"""Reads a kit back. Raises Problem."""


def write_folder(folder: Path, name: str, files: Files, check: Check, *, replace: bool) -> Path:
    """Put a kit at ``folder``/``name``; a former kit there is replaced once the new one was read back.

    Raises UsageProblem where something else lies there, or a kit without ``replace``; Problem, OSError.
    """
    place = folder / name
    require_free(place, replace=replace)
    new, old = f".{name}.new", f".{name}.old"
    with _opened(folder) as top:
        _remove(folder / new)
        if os.path.lexists(folder / old) and not os.path.lexists(place):
            os.rename(old, name, src_dir_fd=top, dst_dir_fd=top)  # cut off between the two renames below
        _remove(folder / old)
        try:
            _write_tree(top, new, files)
            check(folder / new)
            if os.path.lexists(place):
                os.rename(name, old, src_dir_fd=top, dst_dir_fd=top)
            os.rename(new, name, src_dir_fd=top, dst_dir_fd=top)
            os.fsync(top)
        finally:
            _remove(folder / new)
        _remove(folder / old)
    return place


def write_zip(file: Path, files: Files, check: Check, *, replace: bool) -> Path:
    """The same as one file in the zip format."""
    if os.path.lexists(file):
        if not stat.S_ISREG(file.lstat().st_mode):
            raise UsageProblem(f"{file} is there, and it is no plain file.", "Name another one.")
        if not replace:
            raise UsageProblem(f"{file} is there already.", "Name another one, or replace it: add --yes")
    handle, beside = tempfile.mkstemp(prefix=f".{file.stem}.", suffix=".zip", dir=file.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(_zipped(files))
            out.flush()
            os.fsync(out.fileno())
            _forget_cached(out.fileno())
        check(Path(beside))
        os.replace(beside, file)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(beside)
        raise
    sync_folder(file.parent)
    return file


def require_free(place: Path, *, replace: bool) -> None:
    """Raise UsageProblem unless a kit may be put at ``place``."""
    if not os.path.lexists(place):
        return
    if place.is_symlink() or not ((place / ABOUT).is_file() and (place / SUMS).is_file()):
        raise UsageProblem(f"{place} is there, and it is no recovery kit.", "Name another folder.")
    if not replace:
        raise UsageProblem(
            f"The recovery kit {place} is there already.", "Name another folder, or replace it: add --yes"
        )


@contextlib.contextmanager
def _opened(folder: Path) -> Iterator[int]:
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except OSError as error:
        raise UsageProblem(
            f"{folder} is no folder that can be written to: {error.strerror}.",
            "Name a folder that is there: that of a stick, say; or a file that ends in .zip.",
        ) from error
    try:
        yield handle
    finally:
        os.close(handle)


def _write_tree(top: int, name: str, files: Files) -> None:
    os.mkdir(name, 0o700, dir_fd=top)
    handles = {"": os.open(name, _FOLDER, dir_fd=top)}
    try:
        for path, data in files.items():
            folder, _, own = path.rpartition("/")
            _write_file(_folder(handles, folder), own, data)
        for handle in handles.values():
            os.fsync(handle)
    finally:
        for handle in handles.values():
            os.close(handle)


def _folder(handles: dict[str, int], path: str) -> int:
    if path not in handles:
        above, _, own = path.rpartition("/")
        parent = _folder(handles, above)
        with contextlib.suppress(FileExistsError):  # on FAT, spelled otherwise
            os.mkdir(own, 0o700, dir_fd=parent)
        handles[path] = os.open(own, _FOLDER, dir_fd=parent)
    return handles[path]


def _write_file(folder: int, name: str, data: bytes) -> None:
    with os.fdopen(os.open(name, _NEW, 0o600, dir_fd=folder), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
        _forget_cached(file.fileno())


def _forget_cached(handle: int) -> None:
    """So that reading back asks the stick and not the memory."""
    with contextlib.suppress(OSError):
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)


def _remove(folder: Path) -> None:
    """What was left of a kit half written, or the one that was replaced. It follows no link."""
    if folder.is_symlink():
        raise Problem(f"{folder} is a link, and nothing of bootwatch's.", "Remove it.")
    if folder.exists():
        shutil.rmtree(folder)


def _zipped(files: Files) -> bytes:
    room = io.BytesIO()
    with zipfile.ZipFile(room, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files.items():
            about = zipfile.ZipInfo(path, _TIME)
            about.external_attr = (stat.S_IFREG | 0o600) << 16
            about.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(about, data)
    return room.getvalue()
