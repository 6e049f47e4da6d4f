"""Folders of a FAT volume (FAT specification 1.03, "Directory Structure"): slots of 32 bytes.

Eleven bytes of 8.3 name, attributes at 11, case flags 12, high half of the first cluster 20, time 22, date
24, low half of the first cluster 26, size 28. A long name precedes its 8.3 slot in slots of attribute 0x0F,
last part first: u8 order (0x40 marks the last part), thirteen characters at 1, 14 and 28, the 8.3 name's
checksum at 13. A slot that begins with 0x00 ends the folder, one that begins with 0xE5 is deleted.
"""

import struct
from functools import lru_cache
from typing import NamedTuple

from . import fat_name
from .fat_boot import SLOT
from .fat_limit import Problems

SHORT = struct.Struct("<11sBB7xHHHHI")
DELETED = 0xE5
LONG_NAME = 0x0F
ATTRIBUTES = 0x3F
VOLUME = 0x08
FOLDER = 0x10
MAX_PARTS = 20
LAST_PART = 0x40
_DOTS = (b".          ", b"..         ")
# The order bytes of a whole long name of so many parts.
_ORDERS = [bytes((parts | LAST_PART, *range(parts - 1, 0, -1))) for parts in range(MAX_PARTS + 1)]


class Entry(NamedTuple):
    """A file or folder. `path` has backslashes, a leading one included, spelled as on the volume; `size` in
    bytes; `time` local, "YYYY-MM-DDTHH:MM:SS" or ""; `alias` the 8.3 name.
    """

    path: str
    size: int
    time: str
    is_folder: bool
    alias: str
    first_cluster: int


class SlotParser:
    """Turns a folder's bytes, handed over piece by piece, into entries.

    `ended`: the end mark was seen; `count` slots were looked at; `names` are those of the entries; `label`
    the volume's label as stored, if the folder holds one; `problems` in the names.
    """

    def __init__(self, start: str, wide_clusters: bool) -> None:
        """`start`: what the paths of the folder's entries begin with, up to their names."""
        self.ended = False
        self.count = 0
        self.names: list[str] = []
        self.label: bytes | None = None
        self.problems = Problems()
        self._start = start
        self._wide = wide_clusters
        # The parts of a long name that the piece before ended with.
        self._carry = b""

    def feed(self, piece: bytes) -> list[Entry]:
        """The entries in use, without label, "." and "..". The piece holds whole slots."""
        found: list[Entry] = []
        number = before = len(self._carry) // SLOT
        piece = self._carry + piece
        # Where the parts of a long name begin; none while it is -1.
        start = 0 if before else -1
        for first, attributes in zip(
            piece[before * SLOT :: SLOT], piece[before * SLOT + 11 :: SLOT], strict=True
        ):
            if first == 0:
                self.ended = True
                break
            if first == DELETED or attributes & ATTRIBUTES != LONG_NAME:
                long = piece[start * SLOT : number * SLOT] if start >= 0 else b""
                start = -1
                entry = self._entry(piece, number * SLOT, long)
                if entry is not None:
                    found.append(entry)
            elif start < 0:
                start = number
            elif first & LAST_PART:
                self._orphan(piece[start * SLOT : number * SLOT])
                start = number
            number += 1
        self._carry = piece[max(start, number - MAX_PARTS - 1) * SLOT : number * SLOT] if start >= 0 else b""
        self.count += number - before
        return found

    def finish(self) -> None:
        """After the last piece: whether the folder ends in the middle of a long name."""
        self._orphan(self._carry)
        self._carry = b""

    def _entry(self, piece: bytes, at: int, long: bytes) -> Entry | None:
        """What the slot at byte `at` says, with these slots of a long name before it; None if it is no file
        or folder.
        """
        stored, attributes, flags, high, time, date, low, size = SHORT.unpack_from(piece, at)
        if stored[0] == DELETED or attributes & VOLUME or stored in _DOTS:
            if long:
                self._orphan(long)
            if attributes & VOLUME and stored[0] != DELETED and self.label is None:
                self.label = stored
            return None
        alias = fat_name.short_name(stored, flags)
        name = (self._long(long, stored, alias) if long else None) or alias
        if not name:
            self.problems.add("a file without a name, which nothing can reach")
            return None
        self.names.append(name)
        if self._wide:
            low |= high << 16
        if attributes & FOLDER:
            return Entry(self._start + name, 0, time_text(date, time), True, alias, low)
        return Entry(self._start + name, size, time_text(date, time), False, alias, low)

    def _long(self, slots: bytes, stored: bytes, alias: str) -> str | None:
        """The long name in `slots`, if it is whole and belongs to this 8.3 name, as drivers see it."""
        parts = len(slots) // SLOT
        if parts > MAX_PARTS or slots[::SLOT] != _ORDERS[parts]:
            self.problems.add(f"{alias}: the long name before it is not whole{_rest(slots)}")
            return None
        total = fat_name.checksum(stored)
        if slots[13::SLOT] != bytes((total,)) * parts:
            self.problems.add(
                f"{alias}: the long name before it is another's (checksum {slots[13]:#04x}, not {total:#04x})"
                + _rest(slots)
            )
            return None
        text = long_text(slots)
        name = fat_name.long_name(text)
        if name is None:
            self.problems.add(f"{alias}: its long name cannot be used{_rest(slots)}")
        elif "\N{REPLACEMENT CHARACTER}" in name and not text.startswith(name.encode("utf-16-le")):
            self.problems.add(f"{alias}: its long name is not proper UTF-16: {name}")
        return name

    def _orphan(self, slots: bytes) -> None:
        if slots and not self.problems.full:
            self.problems.add(f"parts of a long name without a file{_rest(slots)}")


def long_text(slots: bytes) -> bytes:
    """The characters in slots of a long name, the slots in the order in which they lie in the folder."""
    parts = [
        slots[at + 1 : at + 11] + slots[at + 14 : at + 26] + slots[at + 28 : at + 32]
        for at in range(len(slots) - SLOT, -1, -SLOT)
    ]
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _rest(slots: bytes) -> str:
    """What is left of a name that does not count."""
    text = long_text(slots[: MAX_PARTS * SLOT]).decode("utf-16-le", "replace")
    return ": " + text.split("\0", 1)[0].rstrip("\uffff")


@lru_cache(maxsize=1024)
def time_text(date: int, time: int) -> str:
    """A FAT date and time as local "YYYY-MM-DDTHH:MM:SS" in steps of 2 s; "" when there is none.

    >>> time_text(0x5B21, 0x6000)
    '2025-09-01T12:00:00'
    """
    year, month, day = 1980 + (date >> 9), date >> 5 & 15, date & 31
    hour, minute, second = time >> 11, time >> 5 & 63, (time & 31) * 2
    if not (1 <= month <= 12 and day and hour < 24 and minute < 60 and second < 60):
        return ""
    return f"{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}"
