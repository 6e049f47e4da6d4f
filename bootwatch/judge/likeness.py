"""Whether two names are names of the same thing, as far as words tell."""

from __future__ import annotations

import re

from bootwatch.model.path import fold

Words = frozenset[str]

_WORD = re.compile(r"[^\W_]+")
_LONGEST = 200


def words(name: str) -> Words:
    """The words of a name, without regard to case. Names are hostile: only their beginning is looked at."""
    return frozenset(_WORD.findall(name[:_LONGEST].casefold()))


def alike(one: Words, other: Words) -> bool:
    """Whether all words of one stand in the other: "fernwick" and "Fernwick Linux" are alike."""
    return bool(one) and bool(other) and (one <= other or other <= one)


def cleaned(name: object) -> str:
    """A name with single blanks, "" for one that says nothing."""
    text = " ".join(str(name or "").split())
    return text if any(character.isprintable() and character != " " for character in text) else ""


def distinct(names: list[str]) -> list[str]:
    """The names that say something, each once whatever its case."""
    found: dict[str, str] = {}
    for name in names:
        text = cleaned(name)
        if text:
            found.setdefault(fold(text), text)
    return list(found.values())
