"""Mails in a Maildir: opened for reading, and left where they are, new ones too."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from bootwatch.rollcall.letter import MOST_BYTES, TOO_LARGE, Letter

_FOLDERS = ("new", "cur")


def is_one(folder: Path) -> bool:
    return all((folder / name).is_dir() for name in _FOLDERS)


def letters(folder: Path) -> Iterator[Letter]:
    """Each mail. Raises OSError where the folders can't be listed."""
    for name in _FOLDERS:
        with os.scandir(folder / name) as entries:
            for entry in entries:
                letter = _read(entry.path)
                if letter:
                    yield letter


def _read(path: str) -> Letter | None:
    """None where it is no mail, or was moved or deleted meanwhile: then it is seen in its new place."""
    try:
        # Not following links, and not waiting for whoever writes into a pipe.
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    except OSError as error:
        return Letter(b"", f"not readable ({error.strerror})")
    found = os.fstat(handle)
    if not stat.S_ISREG(found.st_mode):
        os.close(handle)
        return None
    with os.fdopen(handle, "rb") as file:
        if found.st_size > MOST_BYTES:
            return Letter(b"", TOO_LARGE)
        try:
            return Letter.of(file.read(MOST_BYTES + 1))
        except OSError as error:
            return Letter(b"", f"not readable ({error.strerror})")
