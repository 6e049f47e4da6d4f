"""A place where the loaders of one system lie, and what was learnt about it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bootwatch.judge.entries import Entry
from bootwatch.judge.glance import BOOT_FOLDER, Glance
from bootwatch.judge.likeness import Words, alike, cleaned, words
from bootwatch.model.volume import File

Rank = tuple[int, bool, int, int]


@dataclass(eq=False)
class Home:
    """A folder of a system's own on a volume; or, with ``folder`` "", a single loader elsewhere, which
    ``part`` names; or a volume's default file, where nothing else is on it. ``part`` also tells two systems
    in one folder apart. ``folder`` and ``part`` are folded, ``spelled`` is the folder as it is written there.

    What is known carries the number of the state that it was first known from: a system keeps the name that
    it has in the baseline. ``born`` is the first of them; ``labels`` are ranked, one like the folder's name
    before others, then as the boot order has them. ``glances`` are the states in which an entry leads here
    or a program lies here, ``seen`` those in which a file does. ``copies`` are folders that hold a copy of
    it; ``likenesses`` the words of each of its names.
    """

    volume: str
    folder: str
    part: str = ""
    spelled: str = ""
    born: int = 0
    removable: bool = False
    labels: dict[str, Rank] = field(default_factory=dict)
    files: dict[str, tuple[int, File]] = field(default_factory=dict)
    reached: dict[str, int] = field(default_factory=dict)
    glances: set[int] = field(default_factory=set)
    seen: set[int] = field(default_factory=set)
    copies: list[tuple[str, str]] = field(default_factory=list)
    likenesses: set[Words] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.likenesses.add(words(self.folder_name))

    @property
    def key(self) -> str:
        return f"{self.volume}{self.folder}{self.part}"

    @property
    def order(self) -> tuple[int, str]:
        """What was known first comes first."""
        return self.born, self.key

    @property
    def is_default(self) -> bool:
        """Whether its only loader is a default file."""
        return self.folder == BOOT_FOLDER

    @property
    def folder_name(self) -> str:
        return "" if self.is_default else self.spelled.rpartition("\\")[2]

    def enter(self, glance: Glance, rank: int, entry: Entry, folded: str) -> None:
        """An entry leads here."""
        self.glances.add(glance.number)
        self.reached.setdefault(folded, glance.number)
        self.hold(glance, folded, glance.file(self.volume, folded))
        label = cleaned(entry.label)
        if label and not entry.is_firmware_made:
            unlike = not alike(words(label), words(self.folder_name))
            place = (glance.number, unlike, rank, entry.number)
            self.labels[label] = min(place, self.labels.get(label, place))
            self.likenesses.add(words(label))

    def hold(self, glance: Glance, folded: str, file: File | None) -> None:
        """A file lies here."""
        if file is None:
            return
        self.seen.add(glance.number)
        if file.program:
            self.glances.add(glance.number)
            self.files.setdefault(folded, (glance.number, file))
            names = file.program.names
            self.likenesses |= {words(names.get(kind, "")) for kind in ("os", "os_id")}

    def ranked_labels(self, last: int) -> list[tuple[Rank, str]]:
        """Those known by the state ``last``, the best one first."""
        return sorted((rank, label) for label, rank in self.labels.items() if rank[0] <= last)

    def programs(self, last: int) -> Iterator[File]:
        """Those known by the state ``last``: first what entries reach, then what lies highest."""
        known = {folded: file for folded, (glance, file) in self.files.items() if glance <= last}
        reached = [folded for folded, glance in self.reached.items() if glance <= last and folded in known]
        rest = sorted(known.keys() - set(reached), key=lambda path: (path.count("\\"), path))
        return (known[folded] for folded in (*reached, *rest))

    def own_names(self, last: int, *kinds: str) -> Iterator[str]:
        """What its programs call themselves, by the first of ``kinds`` that each has."""
        for file in self.programs(last):
            names = file.program.names if file.program else {}
            name = next((names[kind] for kind in kinds if names.get(kind)), "")
            if name:
                yield name
