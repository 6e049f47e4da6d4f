"""One mail as a source gives it: its bytes, or why it was not read."""

from __future__ import annotations

from dataclasses import dataclass

MOST_BYTES = 512 * 1024
"""Ours have less than a fifth of that."""
MOST_LETTERS = 200_000

TOO_LARGE = "larger than any of ours"


@dataclass(frozen=True)
class Letter:
    """``data`` is a whole mail, b"" where ``unread`` says why there is none."""

    data: bytes
    unread: str = ""

    @classmethod
    def of(cls, data: bytes) -> Letter:
        return cls(data) if len(data) <= MOST_BYTES else cls(b"", TOO_LARGE)
