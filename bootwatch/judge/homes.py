"""All places where systems' loaders lie.

Conservative on purpose: a folder of tools, or of the firmware's vendor, that was taken for a system would be
a system that never starts. So a folder that no entry leads into needs a reason (``lone_folders``), a loader
outside of a system's own folder belongs to a system only if its label says so, and what the firmware's own or
an application's entry leads to makes no system.

One state after the other is looked at, the baseline first: what it shows stays, whatever the next one shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bootwatch.formats.load_option import CATEGORY_BOOT
from bootwatch.judge.contents import Contents
from bootwatch.judge.glance import BOOT_FOLDER, Glance, own_folder
from bootwatch.judge.home import Home
from bootwatch.judge.likeness import alike, words
from bootwatch.judge.parts import Claim, Loader, main_loader, part_of
from bootwatch.model.path import fold, is_within

Place = tuple[str, str]
# Beyond these, names are no longer compared with each other: a hostile store could hold 65,536 entries.
_MOST_COMPARED = 32


@dataclass
class Homes:
    """``places`` are single files with the home that they belong to, None for one that is no system's;
    ``claims`` the homes of entries by volume, folded file and optional data, where the file alone does not
    tell."""

    glances: list[Glance] = field(default_factory=list)
    on: dict[str, list[Home]] = field(default_factory=dict)
    by_folder: dict[Place, Home] = field(default_factory=dict)
    places: dict[Place, Home | None] = field(default_factory=dict)
    claims: dict[tuple[str, str, str], Home] = field(default_factory=dict)
    contents: Contents = field(default_factory=Contents)
    _main: dict[Place, Loader] = field(default_factory=dict)

    def all(self) -> list[Home]:
        return [home for homes in self.on.values() for home in homes]

    def is_removable(self, volume: str) -> bool:
        """Whether a volume lies on a removable disk, where it was first seen."""
        flags = (glance.is_removable(volume) for glance in self.glances)
        return bool(next((flag for flag in flags if flag is not None), False))

    def add(self, home: Home) -> Home:
        home.born = self.glances[-1].number
        home.removable = self.is_removable(home.volume)
        self.on.setdefault(home.volume, []).append(home)
        return home

    def look(self, glance: Glance) -> list[Claim]:
        """Look at the folders that are known, then at what the entries lead into. What they lead to outside
        of systems' own folders is given back."""
        self.glances.append(glance)
        for home in self.all():
            home.removable = self.is_removable(home.volume)
        for place, home in self.by_folder.items():
            if place == (home.volume, home.folder):
                self._fill(home, glance)
        inside: dict[Place, list[Claim]] = {}
        loose = []
        for claim in _claims(glance):
            folder = own_folder(claim.folded)
            if claim.entry.category != CATEGORY_BOOT:
                self._set_aside(claim, folder)
            elif folder:
                inside.setdefault((claim.volume, folder), []).append(claim)
            else:
                loose.append(claim)
        for entered, claims in inside.items():
            self._enter(entered, claims)
        return loose

    def _set_aside(self, claim: Claim, folder: str | None) -> None:
        """What an application's entry leads to is no system's, unless it was known as one."""
        home = self.by_folder.get((claim.volume, folder or ""))
        if home is None or home.files.get(claim.folded, (claim.glance.number,))[0] == claim.glance.number:
            self.places.setdefault((claim.volume, claim.folded), None)

    # folders

    def add_folder(self, volume: str, folder: str, spelled: str) -> Home:
        """A folder with all its programs."""
        home = self.add(Home(volume, folder, spelled=spelled))
        self.by_folder[volume, folder] = home
        self._fill(home, self.glances[-1])
        return home

    def _fill(self, home: Home, glance: Glance) -> None:
        for folded, file in glance.folders.get((home.volume, home.folder), {}).items():
            home.hold(glance, folded, file)
            self.contents.add(home, file, glance.number)

    def _enter(self, place: Place, claims: list[Claim]) -> None:
        """Entries of one state that lead into one folder."""
        volume, folder = place
        by_loader: dict[Loader, list[Claim]] = {}
        for claim in claims:
            by_loader.setdefault(claim.loader, []).append(claim)
        home = self.by_folder.get(place)
        if home is None:
            home = self.add_folder(volume, folder, (claims[0].entry.file or "")[: len(folder)])
        main = self._main.setdefault(place, main_loader(folder, claims))
        for loader, own in by_loader.items():
            part = "" if len(by_loader) > _MOST_COMPARED else part_of(folder, by_loader.get(main, []), own)
            self._lead(own, self.claims.get((volume, *loader)) or self._part(home, part))

    def _part(self, home: Home, part: str) -> Home:
        if not part:
            return home
        known = (one for one in self.on[home.volume] if (one.folder, one.part) == (home.folder, part))
        return next(known, None) or self.add(Home(home.volume, home.folder, part, home.spelled))

    def _lead(self, claims: list[Claim], home: Home) -> None:
        for claim in claims:
            home.enter(claim.glance, claim.rank, claim.entry, claim.folded)
            self.claims[claim.volume, *claim.loader] = home
            place = (claim.volume, claim.folded)
            if not home.part or not self.places.get(place):
                self.places[place] = home

    # loaders elsewhere

    def enter_loose(self, claims: list[Claim]) -> list[Claim]:
        """Loaders outside of any system's own folder: whose label is like that of a system on the volume
        belongs to it, others are systems of their own. Claims on the folder of default files are given
        back."""
        shared = []
        for claim in claims:
            if is_within(claim.folded, BOOT_FOLDER) and claim.entry.volume:
                shared.append(claim)
                continue
            home = self.places.get((claim.volume, claim.folded)) or self._like(claim)
            if home is None and claim.words:
                home = self.add(Home(claim.volume, "", claim.folded))
            if home:
                self._lead([claim], home)
        return shared

    def _like(self, claim: Claim) -> Home | None:
        """The home on the same volume that goes by the same name."""
        file = claim.glance.file(claim.volume, claim.folded)
        names = file.program.names if file and file.program else {}
        mine = [claim.words, words(names.get("os", "")), words(names.get("os_id", ""))]
        for home in self.on.get(claim.volume, [])[:_MOST_COMPARED]:
            if any(alike(one, other) for one in mine for other in home.likenesses):
                return home
        return None


def _claims(glance: Glance) -> Iterator[Claim]:
    for rank, entry in glance.ranked():
        if entry.file is not None:
            yield Claim(glance, rank, entry, glance.place_of(entry), fold(entry.file))
