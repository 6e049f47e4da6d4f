"""Two systems in one folder: told apart only where they clearly differ."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.judge.entries import Entry
from bootwatch.judge.glance import Glance
from bootwatch.judge.likeness import Words, alike, words
from bootwatch.model.path import fold

# More loaders than these in one folder are not compared with each other.
_MOST = 32
_NO_DATA = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"  # SHA-256 of nothing


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
    def loader(self) -> tuple[str, str]:
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


def split(folder: str, claims: list[Claim]) -> dict[str, list[Claim]]:
    """The claims by part: "" for the folder's main system and all that may belong to it.

    An entry is another system's only if no label of its loader (file and optional data) is like one of the
    main loader's or like the folder's name, both stood in the store at the same time, and either their
    programs call themselves differently or it is one program (a kernel, say) with different optional data.
    """
    loaders: dict[tuple[str, str], list[Claim]] = {}
    for claim in claims:
        loaders.setdefault(claim.loader, []).append(claim)
    if not 1 < len(loaders) <= _MOST:
        return {"": claims}
    name = words(folder.rpartition("\\")[2])
    ranked = sorted(claims, key=lambda claim: (claim.glance.number, not alike(claim.words, name), claim.rank))
    main = loaders[ranked[0].loader]
    parts: dict[str, list[Claim]] = {"": []}
    for loader in loaders.values():
        parts.setdefault("" if loader is main else _part(name, main, loader), []).extend(loader)
    return parts


def _part(folder: Words, main: list[Claim], other: list[Claim]) -> str:
    known = [folder, *(claim.words for claim in main)]
    if any(not claim.words or any(alike(claim.words, one) for one in known) for claim in other):
        return ""
    if not {claim.glance.number for claim in main} & {claim.glance.number for claim in other}:
        return ""
    mine, its = main[0], other[0]
    if mine.self_name and its.self_name and mine.self_name != its.self_name:
        return f"#{its.self_name}"
    is_one_program = mine.folded == its.folded and _NO_DATA not in (mine.entry.data, its.entry.data)
    return f"#{its.entry.data[:16]}" if is_one_program else ""
