"""A history that is damaged: known by what it gives, put aside and never overwritten."""

from __future__ import annotations

import contextlib
import sqlite3
import sys
from pathlib import Path

from bootwatch.problem import Problem

_NO_DATABASE = frozenset({sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT})
_BESIDE = "-journal"


class DamagedHistory(Problem):
    """What is read from the file at ``path`` can't be what was recorded."""

    def __init__(self, path: Path, why: str) -> None:
        hint = "The next snapshot puts the damaged file aside: sudo bootwatch snapshot"
        super().__init__(
            f"The history {path} can't be used: {why}.",
            f"{hint} The baseline is safe: it lies in a file of its own.",
        )
        self.path = path


def is_no_database(error: BaseException) -> bool:
    """Whether SQLite says that a file is damaged."""
    return primary_code(error) in _NO_DATABASE


def primary_code(error: BaseException) -> int:
    """SQLite's result code without what it says more exactly; 0 for other errors."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def put_aside(path: Path) -> None:
    """Rename a damaged history, with what belongs to it, to a name that nothing else has. Raises OSError."""
    stamp = int(path.stat().st_mtime)
    aside = path.with_name(f"{path.name}.damaged-{stamp}")
    count = 1
    while aside.exists():
        count += 1
        aside = path.with_name(f"{path.name}.damaged-{stamp}-{count}")
    path.rename(aside)
    with contextlib.suppress(FileNotFoundError):
        path.with_name(path.name + _BESIDE).rename(aside.with_name(aside.name + _BESIDE))
    print(
        f"bootwatch: the history was damaged; it is put aside as {aside}, a new one begins", file=sys.stderr
    )


def require_sound(database: sqlite3.Connection, path: Path, error: Exception) -> None:
    """Raise DamagedHistory where something is not as it was recorded, which then is what led to ``error``."""
    from bootwatch.keep import soundness

    for fault in soundness.faults_in(database):
        raise DamagedHistory(path, " ".join(fault.rstrip(".").split())) from error
