"""Mails in an mbox file (RFC 4155): read from beginning to end, without a lock and without a change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from bootwatch.rollcall.letter import MOST_BYTES, TOO_LARGE, Letter

_LINE = 64 * 1024
_MARK = b"From "


def is_one(file: Path) -> bool:
    """Raises OSError."""
    if not file.is_file():
        return False
    with file.open("rb") as opened:
        return opened.read(len(_MARK)) in (b"", _MARK)


def letters(file: Path) -> Iterator[Letter]:
    """Each mail. Raises OSError. One that is being written meanwhile comes as far as it got."""
    with file.open("rb") as opened:
        yield from _split(opened)


def _split(opened: BinaryIO) -> Iterator[Letter]:
    lines: list[bytes] = []
    size, begun, fresh, blank = 0, False, True, True
    while line := opened.readline(_LINE):
        # A mark counts at the beginning of a line after an empty one.
        if fresh and blank and line.startswith(_MARK):
            if begun:
                yield _letter(lines, size)
            lines, size, begun = [], 0, True
        else:
            size += len(line)
            if size <= MOST_BYTES:
                lines.append(line)
        blank = fresh and line in (b"\n", b"\r\n")
        fresh = line.endswith(b"\n")
    if begun:
        yield _letter(lines, size)


def _letter(lines: list[bytes], size: int) -> Letter:
    return Letter(b"".join(lines)) if size <= MOST_BYTES else Letter(b"", TOO_LARGE)
