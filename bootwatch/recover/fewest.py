"""The fewest things that will do, found by leaving out halves, quarters and so on. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Thing = TypeVar("Thing")


def fewest(things: Sequence[Thing], will_do: Callable[[list[Thing]], bool], most: int) -> list[Thing]:
    """Those that are left once whatever can be left out is, the first ones first; all of them will do.

    Where k of n are needed, some 2k log2(n) tries find them. No more than ``most`` are made: what is left
    then will do, and may be more than the fewest.
    """
    kept, size, tries = list(things), (len(things) + 1) // 2, 0
    while size:
        at = 0
        while at < len(kept) and tries < most:
            fewer = kept[:at] + kept[at + size :]
            tries += 1
            if will_do(fewer):
                kept = fewer
            else:
                at += size
        size = (size + 1) // 2 if size > 1 else 0
    return kept
