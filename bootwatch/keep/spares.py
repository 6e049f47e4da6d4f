"""Spares: copies of the programs on boot volumes, kept by their SHA-256.

The reader leaves programs in a folder of its own. Whoever saves a baseline opens them there without following
links, checks each against the digest in the snapshot and copies it; nothing in them is parsed.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from bootwatch.keep.files import read_plain, remove_leftovers, write_whole
from bootwatch.model.snapshot import VOLUME_PART, Part

LIMIT = 16 << 20


def wanted(parts: dict[str, Part]) -> dict[str, str]:
    """The digests of all programs that a state holds, each with one path for messages."""
    found = {}
    for name, part in parts.items():
        if not name.startswith(VOLUME_PART):
            continue
        for path, line in part.items():
            if path.startswith("\\") and line.get("program") and line.get("sha256") and line["size"] <= LIMIT:
                found[line["sha256"]] = path
    return found


def take_over(left: Path, spares: Path, digests: dict[str, str]) -> list[str]:
    """Copy what the reader left into the spares. Returns the paths of programs that could not be had.

    Only one at a time may do so.
    """
    spares.mkdir(mode=0o750, parents=True, exist_ok=True)
    remove_leftovers(spares)
    return [path for own, path in sorted(digests.items()) if not _take_one(left, spares, own)]


def read(spares: Path, own: str) -> bytes | None:
    """The spare with that SHA-256; None where there is none, or it is damaged."""
    data = _read_without_links(spares / own)
    return data if data is not None and hashlib.sha256(data).hexdigest() == own else None


def _take_one(left: Path, spares: Path, own: str) -> bool:
    if read(spares, own) is not None:
        return True
    data = _read_without_links(left / own)
    if data is None or hashlib.sha256(data).hexdigest() != own:
        return False
    write_whole(spares / own, data)
    return True


def _read_without_links(path: Path) -> bytes | None:
    try:
        return read_plain(path, LIMIT)
    except OSError:
        return None
