"""Laying plain text out in lines of limited width."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.tell.plain import columns, plain

_ENOUGH = 4000


def wrapped(
    text: str, width: int, first: str = "", rest: str | None = None, *, breaks: bool = True
) -> list[str]:
    """``text`` made harmless and broken at spaces into lines of at most ``width`` columns.

    The first line begins with ``first``, the others with ``rest`` (as many spaces as ``first`` is wide
    unless told). A word wider than a whole line is broken after a backslash, or where the line ends; without
    ``breaks`` it stays whole, since somebody is to copy it.
    """
    rest = " " * columns(first) if rest is None else rest
    room = max(width - max(columns(first), columns(rest)), 8)
    lines: list[str] = [""]
    for word in plain(text, _ENOUGH).split():
        if lines[-1] and columns(lines[-1]) + 1 + columns(word) <= room:
            lines[-1] += " " + word
            continue
        parts = list(_broken(word, room)) if breaks else [word]
        lines[-1:] = ([lines[-1]] if lines[-1] else []) + parts
    return [(first if number == 0 else rest) + line for number, line in enumerate(lines)]


def _broken(word: str, room: int) -> Iterable[str]:
    while columns(word) > room:
        end = _fitting(word, room)
        at = word.rfind("\\", 1, end)
        end = at if at >= room // 2 else end
        yield word[:end]
        word = word[end:]
    yield word


def _fitting(word: str, room: int) -> int:
    """How many characters of ``word`` fit into ``room`` columns."""
    end = min(len(word), room)
    while columns(word[:end]) > room:
        end -= 1
    return max(end, 1)
