"""Which of two versions is newer (UAPI Version Format Specification)."""

from __future__ import annotations

import re

_IGNORED = re.compile(r"[^0-9A-Za-z~^.-]*")
_DIGITS, _LETTERS = re.compile(r"[0-9]*"), re.compile(r"[A-Za-z]*")
_LONGEST = 200


def compare_versions(left: str, right: str) -> int:
    """Below 0 when ``left`` is older, above when it is newer, 0 when neither is.

    >>> compare_versions("6.9", "6.10") < 0, compare_versions("6.1~rc1", "6.1") < 0
    (True, True)
    """
    one, other = _Rest(left[:_LONGEST]), _Rest(right[:_LONGEST])
    while True:
        one.take(_IGNORED)
        other.take(_IGNORED)
        order = _order_by_mark(one, other, "~")
        if order is None and (not one.first or not other.first):
            return (one.first > other.first) - (one.first < other.first)
        for mark in "-^.":
            order = _order_by_mark(one, other, mark) if order is None else order
        if order is None:
            order = _order_of_parts(one, other)
        if order:
            return order


class _Rest:
    """What of a version was not compared yet."""

    def __init__(self, text: str) -> None:
        self._text, self._at = text, 0

    @property
    def first(self) -> str:
        return self._text[self._at : self._at + 1]

    def take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self._text, self._at)
        found = match[0] if match else ""
        self._at += len(found)
        return found

    def skip(self) -> None:
        self._at += 1


def _order_by_mark(one: _Rest, other: _Rest, mark: str) -> int | None:
    """Who stands at the mark alone is older; None where nobody or both do, who then go on behind it."""
    here, there = one.first == mark, other.first == mark
    if here and there:
        one.skip()
        other.skip()
    return None if here == there else there - here


def _order_of_parts(one: _Rest, other: _Rest) -> int:
    digits, others = one.take(_DIGITS), other.take(_DIGITS)
    if digits and others:
        number, against = int(digits), int(others)
        return (number > against) - (number < against)
    if digits or others:
        return 1 if digits else -1
    letters, rest = one.take(_LETTERS), other.take(_LETTERS)
    return (letters > rest) - (letters < rest)
