"""The history's database: opened, and written so that all or nothing is there.

journal_mode=DELETE, so that other users can open it read-only. Reads in no more than it needs: see
`service.again`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Self

from bootwatch.keep import chain, compact, schema, seals
from bootwatch.keep.damage import DamagedHistory, is_no_database, primary_code, put_aside, require_sound
from bootwatch.keep.files import may_write
from bootwatch.keep.foreign import guard, is_of_another, nonsense_is_a_problem
from bootwatch.problem import Problem

FILE_NAME = "history.db"
# What comes of values that can't have been recorded.
_ODD = (LookupError, ValueError, TypeError, AttributeError)
# The same where an earlier version's records are laid anew.
_NO_RECORDS = (
    *(*_ODD, ArithmeticError, RecursionError),
    *(sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError),
)
_FULL = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR})
_PATIENCE = 30  # seconds that one waits for another who writes


class Database:
    """An open history; ``open`` for the reader, ``look`` for everybody else."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self.database = database
        with contextlib.suppress(sqlite3.DatabaseError):  # which the first question says, too
            if schema.version_of(database) >= schema.COMPACT:
                compact.make_views(database)
        self._written = seals.Written(database)

    @classmethod
    @contextmanager
    def open(cls, folder: Path) -> Iterator[Self]:
        """For reading and writing; made when it isn't there. Raises Problem when it can't be.

        One that is no database any more is put aside and a new one begins: watching doesn't depend on it.
        """
        path = folder / FILE_NAME
        try:
            folder.mkdir(mode=0o750, parents=True, exist_ok=True)
            database = _connect_for_writing(path)
        except (sqlite3.Error, OSError) as error:
            raise _cannot(path, error) from error
        with _closing(database, path):
            yield cls(database)

    @classmethod
    @contextmanager
    def look(cls, folder: Path) -> Iterator[Self | None]:
        """Read-only; None where there is no history yet. Raises Problem when it can't be read."""
        path = folder / FILE_NAME
        try:
            if not path.exists():
                yield None
                return
            foreign = is_of_another(path)
            if path.with_name(path.name + "-journal").exists() and may_write(folder):
                _connect_for_writing(path).close()  # ends what a power cut left half done
            uri = f"{path.absolute().as_uri()}?mode=ro"
            database = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=_PATIENCE)
        except (sqlite3.Error, OSError) as error:
            raise _cannot(path, error) from error
        with nonsense_is_a_problem(path) if foreign else nullcontext(), _closing(database, path):
            guard(database)
            made = "SELECT 1 FROM sqlite_master WHERE name IN ('record', 'snapshot')"
            found = cls(database) if database.execute(made).fetchone() else None
            database.execute("PRAGMA query_only=ON")
            yield found

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing; what was written is closed and sealed."""
        self.database.execute("BEGIN IMMEDIATE")
        try:
            yield
            chain.close(self.database)
            seals.renew(self.database, self._written.tables)
        except BaseException:
            if self.database.in_transaction:  # a full disk has ended it already
                self.database.execute("ROLLBACK")
            raise
        self.database.execute("COMMIT")

    def last_number(self) -> int | None:
        """The newest snapshot's number, None where there is none."""
        row = self.database.execute("SELECT max(number) FROM snapshot").fetchone()
        return None if row[0] is None else int(row[0])

    def repeat(self, number: int, moment: str, time: str) -> int:
        """Record that all was found again as in the newest snapshot, ``number``, in the same start. Returns
        the new one's number. Call it inside a transaction."""
        return compact.repeat(self.database, number, moment, time)


def _connect_for_writing(path: Path) -> sqlite3.Connection:
    try:
        return _prepared(sqlite3.connect(path, isolation_level=None, timeout=_PATIENCE), path)
    except _NO_RECORDS:
        pass
    except sqlite3.DatabaseError as error:
        if not is_no_database(error):
            raise
    put_aside(path)
    return _prepared(sqlite3.connect(path, isolation_level=None, timeout=_PATIENCE), path)


def _prepared(database: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    try:
        database.execute("PRAGMA journal_mode=DELETE")
        # With what ends a transaction on disk, too: the journal's removal.
        database.execute("PRAGMA synchronous=EXTRA")
        schema.prepare(database, path)
        database.execute("PRAGMA foreign_keys=ON")
    except BaseException:
        database.close()
        raise
    return database


@contextmanager
def _closing(database: sqlite3.Connection, path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise _cannot(path, error) from error
    except _ODD as error:
        require_sound(database, path, error)
        raise
    finally:
        database.close()


def _cannot(path: Path, error: Exception) -> Problem:
    if is_no_database(error):
        return DamagedHistory(path, str(error))
    if os.path.isdir(path):
        return DamagedHistory(path, "it is a folder")
    return Problem(
        f"The history {path} can't be used: {getattr(error, 'strerror', None) or error}.",
        f"{_advice(error)} The baseline is safe: it lies in a file of its own.",
    )


def _advice(error: Exception) -> str:
    code = primary_code(error)
    if code in _FULL or getattr(error, "errno", None) == errno.ENOSPC:
        return "See whether its disk is full or failing."
    if code == sqlite3.SQLITE_READONLY:
        return "The last snapshot was cut off; the next one puts that right: sudo bootwatch snapshot"
    return "Run the command with sudo."
