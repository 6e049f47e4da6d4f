"""Whether this is the program out of a recovery kit: one file, with no library, user or service beside it."""

from __future__ import annotations

from pathlib import Path

import bootwatch


def archive() -> Path | None:
    """The file that this program runs from; None where it is installed."""
    found = getattr(bootwatch.__loader__, "archive", None)
    return Path(found) if isinstance(found, str) else None


def command() -> str:
    """How people call the program, in hints."""
    file = archive()
    return f"python3 {file.name}" if file else "bootwatch"
