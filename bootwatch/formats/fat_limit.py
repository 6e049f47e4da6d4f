"""How much of a FAT volume is looked at. Real boot volumes stay far below; a hostile one must not cost more
than about a second and 100 MB, whatever its folders claim.

The limits are those of one question (one walk, one look for a path), not of the volume's lifetime.
"""

from dataclasses import dataclass

from . import FormatError

MAX_FOLDERS = 16_000
MAX_ENTRIES = 80_000
MAX_SLOTS = 320_000
# Characters in all the paths of one walk together, roughly: long paths times many files is what eats memory.
MAX_TEXT = 12 << 20
# Characters in one folder's path. The FAT specification's own limit is 260.
MAX_PATH = 1024
MAX_PROBLEMS = 1000
# Stretches of clusters that one file may lie in.
MAX_PIECES = 32_768


class OverLimit(FormatError):
    """Nothing need be wrong with the volume: there is more of it than is looked at."""


@dataclass(slots=True)
class Budget:
    """What is left of the limits. The methods raise OverLimit when one is used up."""

    folders: int = MAX_FOLDERS
    entries: int = MAX_ENTRIES
    slots: int = MAX_SLOTS
    text: int = MAX_TEXT

    def enter(self, path: str) -> None:
        """Before a folder is read."""
        if len(path) > MAX_PATH:
            raise OverLimit(f"folders whose path is longer than {MAX_PATH} characters were not looked at")
        self._refuse()
        if self.folders <= 0:
            raise OverLimit(f"more than {MAX_FOLDERS} folders: the rest was not looked at")
        self.folders -= 1

    def spend(self, path: str, slots: int, entries: int) -> None:
        """After a piece of a folder at `path` was read, with so many slots and, in them, entries."""
        self.slots -= slots
        self.entries -= entries
        self.text -= entries * (len(path) + 1) + slots * 13
        self._refuse()

    def _refuse(self) -> None:
        if self.entries >= 0 and self.slots >= 0 and self.text >= 0:
            return
        for what, left, most in (
            ("files", self.entries, MAX_ENTRIES),
            ("slots in folders", self.slots, MAX_SLOTS),
            ("characters in paths", self.text, MAX_TEXT),
        ):
            if left < 0:
                raise OverLimit(f"more than {most} {what}: the rest was not looked at")


class Problems:
    """Sentences in the order in which they were found, each once; bounded. `by_path`: the first one of each
    file and folder of which one was added, without its path."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self.by_path: dict[str, str] = {}
        self._known: set[str] = set()

    @property
    def full(self) -> bool:
        """Whether no more are taken."""
        return len(self.found) > MAX_PROBLEMS

    def add(self, text: str) -> None:
        if self.full or text in self._known:
            return
        if len(self.found) == MAX_PROBLEMS:
            text = f"more than {MAX_PROBLEMS} problems: the rest is not listed"
        self._known.add(text)
        self.found.append(text)

    def add_of(self, path: str, text: str) -> None:
        """What is wrong with the file or folder at `path`."""
        if not self.full:
            self.by_path.setdefault(path, text)
        self.add(f"{path}: {text}")
