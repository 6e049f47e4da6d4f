"""What the reader and the sender left for everybody to read."""

from __future__ import annotations

import json
from typing import Any

from bootwatch.keep.files import read_plain
from bootwatch.places import Places

_LIMIT = 64 << 20  # bytes

Document = dict[str, Any]


def left_for_all(places: Places, name: str) -> Document | None:
    """What the reader or the sender left for everybody to read; None where there is nothing that can be."""
    if places.run is None:
        return None
    try:
        document: Document = json.loads(read_plain(places.run / name, _LIMIT))
        return document if isinstance(document, dict) else None
    except (OSError, ValueError, RecursionError):
        return None
