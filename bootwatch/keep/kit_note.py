"""When a recovery kit was last put somewhere else than on the machine: root notes it, the reader reads it."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

from bootwatch.keep.files import write_whole
from bootwatch.model.spoken import Kit

FORMAT = "bootwatch/kit-last/1"
_FILE = "last.json"
_LIMIT = 64 << 10


def note(folder: Path, *, made: str, to: str, baseline: str) -> None:
    """Where it can't be noted, the kit is there all the same. ``baseline`` is that one's digest."""
    document = {"format": FORMAT, "made": made, "to": to, "baseline": baseline}
    with contextlib.suppress(OSError):
        folder.mkdir(mode=0o750, exist_ok=True)
        write_whole(folder / _FILE, json.dumps(document, indent=1).encode(), 0o644)


def standing(folder: Path, baseline: str) -> Kit:
    """Whether the last kit is of this ``baseline``, by its digest."""
    last = _last(folder)
    if last.get("format") != FORMAT:
        return Kit.NONE
    return Kit.CURRENT if last.get("baseline") == baseline else Kit.FORMER


def _last(folder: Path) -> dict[str, Any]:
    try:
        with (folder / _FILE).open("rb") as file:
            document = json.loads(file.read(_LIMIT))
    except (OSError, ValueError, RecursionError):
        return {}
    return document if isinstance(document, dict) else {}
