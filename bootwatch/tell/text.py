"""A message as headed sections, before it is laid out: plain text and HTML are made of the same pieces.

The pieces may hold hostile characters. Whoever lays them out makes them harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bootwatch.model.level import Level


@dataclass(frozen=True)
class Paragraph:
    """Sentences that belong together."""

    text: str


@dataclass(frozen=True)
class Item:
    """One of several things, by its ``number``: ``rows`` are a word and what it says, ``rest`` sentences."""

    number: int
    headline: str
    rows: tuple[tuple[str, str], ...] = ()
    rest: str = ""


@dataclass(frozen=True)
class Bullets:
    """A list whose order doesn't matter."""

    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """What one may want, and how to get it: a command, a word, or a code."""

    rows: tuple[tuple[str, str], ...]


Block = Paragraph | Item | Bullets | Table


class Weight(StrEnum):
    """How much a section stands out where text can."""

    USUAL = "usual"
    TODO = "todo"
    ASIDE = "aside"


@dataclass(frozen=True)
class Section:
    """``heading`` is in small letters, "" for none."""

    heading: str
    blocks: tuple[Block, ...]
    weight: Weight = Weight.USUAL


@dataclass(frozen=True)
class Text:
    """``level`` is the worst that the text is about, None for what is no trouble. ``mark`` says it in a word
    or two, for who doesn't see its colour; ``lead`` says first what matters most."""

    level: Level | None
    mark: str
    lead: str
    sections: tuple[Section, ...]
