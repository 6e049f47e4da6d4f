"""The list beside a loader from which lost entries are made again, `BOOT<ARCH>.CSV`, as shim reads it.

UTF-16LE, with or without a byte order mark; a line each: file, label, data (handed to the loader), comment.
"""

from __future__ import annotations

from dataclasses import dataclass

_FIELDS = 4
_MOST_ROWS = 64
_LONGEST = 1024  # characters of a field
LIMIT = 64 << 10  # bytes


@dataclass(frozen=True)
class Row:
    """One entry to be made: ``file`` lies in the list's own folder."""

    file: str
    label: str
    data: str


def parse(data: bytes) -> list[Row]:
    """Its rows, those left out that make no entry. Never fails.

    >>> parse("startx64.efi,Quarry,,This is the entry for Quarry\\r\\n".encode("utf-16-le"))
    [Row(file='startx64.efi', label='Quarry', data='')]
    """
    text = data[:LIMIT].decode("utf-16-le", "replace").removeprefix("\ufeff").partition("\0")[0]
    rows = []
    for line in text.replace("\r", "\n").split("\n", _MOST_ROWS * 2):
        fields = line.split(",", _FIELDS - 1)
        if len(fields) < _FIELDS - 1 or any(len(field) > _LONGEST for field in fields[:3]):
            continue
        file, label, handed = (field.strip(" ") for field in fields[:3])
        if file and label and not set(file) & set('\\/:*?"<>|'):
            rows.append(Row(file, label, handed))
    return rows[:_MOST_ROWS]
