"""Two systems in one folder: told apart only where they clearly differ."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.judge.entries import Entry
from bootwatch.judge.glance import Glance
from bootwatch.judge.likeness import Words, alike, words
from bootwatch.model.path import fold

_NO_DATA = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"  # SHA-256 of nothing

Loader = tuple[str, str]


@dataclass(frozen=True)
class Claim:
    """One entry of one state, and the place it leads to. ``folded`` is the file; ``rank`` its place in the
    boot order."""

    glance: Glance
    rank: int
    entry: Entry
    volume: str
    folded: str

    @property
    def loader(self) -> Loader:
        """The file and the digest of the optional data."""
        return self.folded, self.entry.data

    @property
    def words(self) -> Words:
        return frozenset() if self.entry.is_firmware_made else words(self.entry.label)

    @property
    def self_name(self) -> str:
        """What the program calls itself."""
        file = self.glance.file(self.volume, self.folded)
        names = file.program.names if file and file.program else {}
        return fold(names.get("os_id") or names.get("product") or "")


def main_loader(folder: str, claims: list[Claim]) -> Loader:
    """The loader of the folder's main system: with a label like the folder's name, or first in the order."""
    name = words(folder.rpartition("\\")[2])
    return min(claims, key=lambda claim: (not alike(claim.words, name), claim.rank)).loader


def part_of(folder: str, main: list[Claim], other: list[Claim]) -> str:
    """The part of a folder that a loader belongs to; "" for the main system's and all that may be its own.

    ``main`` and ``other`` are what leads to the main loader and to this one in one state. It is another
    system's only if no label of it is like one of the main loader's or like the folder's name, and either the
    programs call themselves differently or it is one program (a kernel, say) with different optional data.
    """
    known = [words(folder.rpartition("\\")[2]), *(claim.words for claim in main)]
    if not main or any(not claim.words or any(alike(claim.words, one) for one in known) for claim in other):
        return ""
    mine, its = main[0], other[0]
    if mine.self_name and its.self_name and mine.self_name != its.self_name:
        return f"#{its.self_name}"
    is_one_program = mine.folded == its.folded and _NO_DATA not in (mine.entry.data, its.entry.data)
    return f"#{its.entry.data[:16]}" if is_one_program else ""
