"""All places where systems' loaders lie.

Conservative on purpose: a folder of tools, or of the firmware's vendor, that was taken for a system would be
a system that never starts. So a folder that no entry leads into needs a reason (``lone_folders``), a loader
outside of a system's own folder belongs to a system only if its label says so, and what the firmware's own or
an application's entry leads to makes no system.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from bootwatch.formats.load_option import CATEGORY_BOOT
from bootwatch.judge.contents import Contents
from bootwatch.judge.glance import BOOT_FOLDER, Glance, own_folder
from bootwatch.judge.home import Home
from bootwatch.judge.likeness import alike, words
from bootwatch.judge.parts import Claim, split
from bootwatch.model.path import fold, is_within

Place = tuple[str, str]
# Beyond these, names are no longer compared with each other: a hostile store could hold 65,536 entries.
_MOST_COMPARED = 32


@dataclass
class Homes:
    """``places`` are single files with the home that they belong to, None for one that is no system's;
    ``claims`` the homes of entries by volume, folded file and optional data, where the file alone does not
    tell."""

    glances: list[Glance]
    on: dict[str, list[Home]] = field(default_factory=dict)
    by_folder: dict[Place, Home] = field(default_factory=dict)
    places: dict[Place, Home | None] = field(default_factory=dict)
    claims: dict[tuple[str, str, str], Home] = field(default_factory=dict)
    contents: Contents = field(default_factory=Contents)
    default_claims: dict[str, list[Claim]] = field(default_factory=dict)
    _loose: list[Claim] = field(default_factory=list)
    _no_systems: list[Place] = field(default_factory=list)

    def all(self) -> list[Home]:
        return [home for homes in self.on.values() for home in homes]

    def add(self, home: Home) -> Home:
        home.removable = self.is_removable(home.volume)
        self.on.setdefault(home.volume, []).append(home)
        return home

    def is_removable(self, volume: str) -> bool:
        flags = [glance.is_removable(volume) for glance in self.glances]
        return True in flags and False not in flags

    def add_folder(self, volume: str, folder: str, spelled: str) -> Home:
        """A folder with all its programs."""
        home = self.add(Home(volume, folder, spelled=spelled))
        self.by_folder[volume, folder] = home
        for glance in self.glances:
            for folded, file in glance.folders.get((volume, folder), {}).items():
                home.hold(glance, folded, file)
                self.contents.add(home, file, glance.number)
        return home

    # what entries lead to

    def enter_folders(self) -> None:
        """The folders of systems' own that entries lead into."""
        claimed: dict[Place, list[Claim]] = {}
        for claim in self._claims():
            folder = own_folder(claim.folded)
            if folder:
                claimed.setdefault((claim.volume, folder), []).append(claim)
            else:
                self._loose.append(claim)
        for (volume, folder), claims in claimed.items():
            for part, own in split(folder, claims).items():
                self._settle(volume, folder, part, own)

    def _claims(self) -> Iterable[Claim]:
        for glance in self.glances:
            for rank, entry in glance.ranked():
                if entry.file is None:
                    continue
                claim = Claim(glance, rank, entry, glance.volume_of(entry) or entry.target, fold(entry.file))
                if entry.category == CATEGORY_BOOT:
                    yield claim
                else:
                    self._no_systems.append((claim.volume, claim.folded))

    def _settle(self, volume: str, folder: str, part: str, claims: list[Claim]) -> None:
        spelled = (claims[0].entry.file or "")[: len(folder)]
        if part:
            home = self.add(Home(volume, folder, part, spelled))
        else:
            home = self.add_folder(volume, folder, spelled)
        for claim in claims:
            home.enter(claim.glance, claim.rank, claim.entry, claim.folded)
            self.claims[volume, *claim.loader] = home
            if not part or (volume, claim.folded) not in self.places:
                self.places[volume, claim.folded] = home

    def enter_loose(self) -> None:
        """Loaders outside of any system's own folder: whose label is like that of a system on the volume
        belongs to it, others are systems of their own."""
        for claim in self._loose:
            if is_within(claim.folded, BOOT_FOLDER) and claim.entry.volume:
                self.default_claims.setdefault(claim.volume, []).append(claim)
            else:
                self._enter_loose(claim)
        for place in self._no_systems:
            self.places.setdefault(place, None)

    def _enter_loose(self, claim: Claim) -> None:
        place = (claim.volume, claim.folded)
        home = self.places.get(place) or self._like(claim)
        if home is None and claim.words:
            home = self.add(Home(claim.volume, "", claim.folded))
        if home:
            home.enter(claim.glance, claim.rank, claim.entry, claim.folded)
            self.claims[claim.volume, *claim.loader] = home
        self.places[place] = home

    def _like(self, claim: Claim) -> Home | None:
        """The home on the same volume that goes by the same name; without a label, the only one there."""
        homes = self.on.get(claim.volume, [])
        if not claim.words:
            return homes[0] if len(homes) == 1 else None
        file = claim.glance.file(claim.volume, claim.folded)
        names = file.program.names if file and file.program else {}
        mine = [claim.words, words(names.get("os", "")), words(names.get("os_id", ""))]
        for home in homes[:_MOST_COMPARED]:
            if any(alike(one, other) for one in mine for other in home.likenesses):
                return home
        return None
