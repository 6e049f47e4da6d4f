"""A database that somebody else may have written: read so that what it holds can do no harm.

SQLite's own advice for files of unknown origin (sqlite.org/security.html), and no view or trigger at all: the
history has none, so each is somebody's.
"""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bootwatch.problem import Problem

_SETTINGS = ("trusted_schema=OFF", "cell_size_check=ON", "mmap_size=0")
_LONGEST = 256 << 20  # bytes of one value
_ODD = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError, OverflowError)


def guard(database: sqlite3.Connection) -> None:
    """Raises sqlite3.Error for one that holds what none of ours does."""
    for setting in _SETTINGS:
        database.execute(f"PRAGMA {setting}")
    database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST)
    database.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    odd = database.execute(
        "SELECT type FROM sqlite_master WHERE type NOT IN ('table', 'index') OR sql LIKE '%VIRTUAL%'"
        " OR sql LIKE '%GENERATED%' OR sql LIKE '% AS (%' LIMIT 1"
    ).fetchone()
    if odd:
        raise sqlite3.DatabaseError(f"it holds a {str(odd[0])[:20]!r} that bootwatch doesn't make")


@contextmanager
def nonsense_is_a_problem(path: Path) -> Iterator[None]:
    """Raises Problem where what was read out of it can't be used, instead of whatever that gave."""
    try:
        yield
    except _ODD as error:
        raise Problem(
            f"The history {path} holds what bootwatch didn't write ({type(error).__name__}).",
            "Look at it with: bootwatch selfcheck. The baseline is safe: it lies in a file of its own.",
        ) from error


def is_of_another(path: Path) -> bool:
    """Whether the file isn't the caller's own. Raises OSError, and for what is no plain file.

    And for what would have SQLite make files beside somebody else's: bootwatch never keeps a log for writing
    ahead (https://www.sqlite.org/fileformat.html, 1.3.3).
    """
    about = path.lstat()
    _require_plain(path, about)
    # SQLite waits for a pipe without end, whatever its user presses.
    with suppress(FileNotFoundError):
        journal = path.with_name(path.name + "-journal")
        _require_plain(journal, journal.lstat())
    is_foreign = about.st_uid != os.geteuid()
    if is_foreign and _writes_ahead(path):
        raise OSError(f"{path} is kept in a way that bootwatch doesn't use")
    return is_foreign


def _require_plain(path: Path, about: os.stat_result) -> None:
    if not stat.S_ISREG(about.st_mode):
        raise OSError(f"{path} is no plain file")


def _writes_ahead(path: Path) -> bool:
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        return 2 in os.pread(handle, 2, 18)
    finally:
        os.close(handle)
