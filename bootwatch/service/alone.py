"""One writer of the history at a time."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator

from bootwatch.keep.files import locked
from bootwatch.places import Places
from bootwatch.problem import Problem


@contextlib.contextmanager
def alone(places: Places) -> Iterator[None]:
    """Two readings at once would each tell the same news, and leave the older one's findings in /run."""
    try:
        places.history.mkdir(mode=0o750, parents=True, exist_ok=True)
        handle = os.open(places.history / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as error:
        may_not = isinstance(error, PermissionError)
        hint = (
            "Run the command with sudo." if may_not else "See whether its disk is full, read-only or failing."
        )
        raise Problem(f"Nothing can be recorded in {places.history}: {error.strerror}.", hint) from error
    with locked(handle):
        yield
