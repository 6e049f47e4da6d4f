"""The one place that makes text from firmware, disks and servers harmless for every outlet.

What comes back holds no character that moves a cursor, hides, reorders, joins or breaks a line, and can
be encoded in UTF-8. Such characters are shown as escapes: ``\\x1b``, ``\\u202e``, ``\\U000e0041``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

LIMIT = 300
"""Longer than any path on a FAT volume that people meet."""

# Cc, Cf: control and format (escape sequences, bidi overrides and isolates, zero width). Cs: unpaired
# surrogates. Cn, Co: unassigned and private, which may look like anything. Zl, Zp: line separators.
_HARMFUL = frozenset({"Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"})
# Of other categories, and yet shown as nothing: fillers, the joiner, the empty braille pattern, and
# variation selectors.
_INVISIBLE = {0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x2800, 0x3164, 0xFFA0}.union(
    range(0x180B, 0x1810), range(0xFE00, 0xFE10), range(0xE0100, 0xE01F0)
)
_MARKS = frozenset({"Mn", "Me"})
# Written languages stack up to three marks on a letter; a pile of them scribbles over the lines around it.
_MARKS_IN_A_ROW = 3


def plain(text: str, limit: int = LIMIT) -> str:
    """``text`` with everything harmful shown as an escape, at most ``limit`` characters, cut with "...".

    Plain text comes back as it is, so applying it twice does nothing more. No escape is cut in two.
    """
    pieces: list[str] = []
    length = 0
    for piece in _pieces(text):
        length += len(piece)
        if length > limit:
            return _cut(pieces, limit)
        pieces.append(piece)
    return "".join(pieces)


def _pieces(text: str) -> Iterator[str]:
    marks = 0
    for character in text:
        category = unicodedata.category(character)
        marks = marks + 1 if category in _MARKS else 0
        if category in _HARMFUL or ord(character) in _INVISIBLE or marks > _MARKS_IN_A_ROW:
            yield _escaped(ord(character))
        elif category == "Zs":
            yield " "
        else:
            yield character


def _escaped(code: int) -> str:
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _cut(pieces: list[str], limit: int) -> str:
    dots = "..."[:limit]
    length = sum(map(len, pieces))
    while pieces and length > limit - len(dots):
        length -= len(pieces.pop())
    return "".join(pieces) + dots


def columns(text: str) -> int:
    """How many columns of a terminal plain ``text`` takes: wide characters take two, marks none."""
    return sum(_width(character) for character in text)


def _width(character: str) -> int:
    if unicodedata.category(character) in _MARKS:
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1
