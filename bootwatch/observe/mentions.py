"""Names of other files that a program carries in its text: by them it finds its settings and its next stage.

Three sorts, in ASCII or UTF-16: the folder of the Boot Loader Specification's entries, names of settings
("NAME.cfg", "NAME.conf", whatever stands before them), and programs that are named alone ("\\NAME.efi"), as
one that hands over to its neighbour does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from heapq import merge
from itertools import islice

from bootwatch.model.volume import ENTRIES_FOLDER

_LONGEST = 64
_MOST = 32
_MOST_LOOKED_AT = 2000
# A NUL may stand behind each character. Each begins with one character alone: so it is sought 14 times faster
# than both in one pass.
_NAME_END = re.compile(rb"\.\0?(?:e\0?f\0?i|E\0?F\0?I|c\0?f\0?g|c\0?o\0?n\0?f)")
_FOLDER_END = re.compile(rb"l\0?o\0?a\0?d\0?e\0?r\0?[\\/]\0?e\0?n\0?t\0?r\0?i\0?e\0?s")
_BEFORE = re.compile(rb"[\x20-\x7e]*\Z")
_WIDE_BEFORE = re.compile(rb"(?:[\x20-\x7e]\0)*\Z")
_SETTINGS = re.compile(r"(?:.*[\\/ ])?([\w.+-]+\.(?:cfg|conf))", re.DOTALL)
_PROGRAM = re.compile(r"[\\/]*([\w.+-]+\.efi)", re.IGNORECASE)


def mentions(data: bytes) -> tuple[str, ...]:
    """Names in lower case, sorted: "boot.cfg", "stagex64.efi", and ``ENTRIES_FOLDER`` for that folder.

    At most 32, each of at most 64 characters.
    """
    found: set[str] = set()
    for text in _texts(data):
        name = _name(text)
        if name and len(name) <= _LONGEST and len(found) < _MOST:
            found.add(name)
    return tuple(sorted(found))


def _texts(data: bytes) -> Iterator[str]:
    """Each run of printable characters as far as one of the ends."""
    ends = merge(_NAME_END.finditer(data), _FOLDER_END.finditer(data), key=re.Match.start)
    for match in islice(ends, _MOST_LOOKED_AT):
        is_wide = b"\0" in match[0]
        step, before = (2, _WIDE_BEFORE) if is_wide else (1, _BEFORE)
        run = before.search(data, max(0, match.start() - 2 * _LONGEST * step), match.start())
        start = run.start() if run else match.start()
        yield data[start : match.end() : step].decode("latin-1")


def _name(text: str) -> str | None:
    if text.endswith(("loader\\entries", "loader/entries")):
        return ENTRIES_FOLDER
    found = _SETTINGS.fullmatch(text) or _PROGRAM.fullmatch(text)
    return found[1].lower() if found else None
