"""Folders of a FAT volume (FAT specification 1.03, "Directory Structure"): slots of 32 bytes.

Eleven bytes of 8.3 name, attributes at 11, case flags 12, high half of the first cluster 20, time 22, date
24, low half of the first cluster 26, size 28. A long name precedes its 8.3 slot in slots of attribute 0x0F,
last part first: u8 order (0x40 marks the last part), thirteen characters at 1, 14 and 28, the 8.3 name's
checksum at 13. A slot that begins with 0x00 ends the folder, one that begins with 0xE5 is deleted.
"""

import struct
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from . import fat_name
from .fat_boot import SLOT

_SHORT = struct.Struct("<11sBB7xHHHHI")
_DELETED = 0xE5
_LONG_NAME = 0x0F
_ATTRIBUTES = 0x3F
_VOLUME = 0x08
_FOLDER = 0x10
_LAST_PART = 0x40
_MAX_PARTS = 20


class Slot(NamedTuple):
    """What one 8.3 slot and the long name before it say. `size` is in bytes, `time` local or "" if
    impossible.
    """

    name: str
    alias: str
    is_folder: bool
    is_label: bool
    size: int
    time: str
    first_cluster: int
    stored_name: bytes


class SlotParser:
    """Turns the folder's bytes, handed over piece by piece, into slots. `ended`: the end mark was seen."""

    def __init__(self, wide_clusters: bool) -> None:
        self.ended = False
        self.count = 0
        self._wide = wide_clusters
        self._long = _LongName()

    def feed(self, piece: bytes) -> Iterator[Slot]:
        """Yield the slots in use, "." and ".." included. The piece holds whole slots."""
        for at in range(0, len(piece) - SLOT + 1, SLOT):
            first, attributes = piece[at], piece[at + 11]
            if first == 0:
                self.ended = True
                return
            self.count += 1
            if first == _DELETED:
                self._long.forget()
            elif attributes & _ATTRIBUTES == _LONG_NAME:
                self._long.add(piece[at : at + SLOT])
            else:
                yield self._slot(piece, at)

    def _slot(self, piece: bytes, at: int) -> Slot:
        stored, attributes, flags, high, time, date, low, size = _SHORT.unpack_from(piece, at)
        alias = fat_name.short_name(stored, flags)
        folder = bool(attributes & _FOLDER)
        return Slot(
            name=self._long.take(stored) or alias,
            alias=alias,
            is_folder=folder,
            is_label=bool(attributes & _VOLUME),
            size=0 if folder else size,
            time=time_text(date, time),
            first_cluster=low | (high << 16 if self._wide else 0),
            stored_name=stored,
        )


class _LongName:
    """Collects the parts of one long name; any part out of turn makes it worthless, as drivers see it."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        self._parts: list[bytes] = []
        self._next = 0
        self._sum = -1

    def add(self, slot: bytes) -> None:
        order = slot[0] & ~_LAST_PART
        if slot[0] & _LAST_PART:
            self._parts, self._next, self._sum = [], order, slot[13]
        if order != self._next or slot[13] != self._sum or not 1 <= order <= _MAX_PARTS:
            self.forget()
            return
        self._parts.append(slot[1:11] + slot[14:26] + slot[28:32])
        self._next -= 1

    def take(self, short: bytes) -> str | None:
        """The complete long name that belongs to this 8.3 name, if there is one."""
        if not self._parts:
            return None
        parts, missing, total = self._parts, self._next, self._sum
        self.forget()
        if missing or total != fat_name.checksum(short):
            return None
        return fat_name.long_name(b"".join(reversed(parts)))


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
