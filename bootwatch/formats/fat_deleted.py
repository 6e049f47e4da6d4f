"""What is left of removed files and folders on a FAT volume (FAT specification 1.03, "Directory Structure").

Removing a file writes 0xE5 over the first byte of its slots and frees its clusters in the FAT; the rest of
the slots, the clusters' content, and the name's other characters stay until something new needs the place. So
a removed file's 8.3 name lacks its first character, shown here as "?", which no name can contain; its long
name is whole as long as its parts are. A removed folder's content is looked for in its first cluster, and in
those after it as long as they look like more of it: its chain is gone.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from . import FormatError, fat_folder, fat_name
from .fat_boot import SLOT, Geometry
from .fat_folder import Entry
from .fat_limit import Budget, OverLimit
from .fat_table import PIECE, FatTable
from .fat_tree import ROOT, Tree, below
from .reader import Source

_DOT = b".          "
# Characters that no 8.3 name has.
_NEVER = frozenset(b'"*+,/:;<=>?[\\]|.\x7f') | frozenset(range(0x21))
_MAX_TABLE_PIECES = 30_000
_MAX_REMOVED = 64 << 10


class Deleted(NamedTuple):
    """A removed file or folder. `path` as far as it is known; `size` in bytes and `time`, local, are those
    that it had; `recoverable`: all clusters that a file of this size needs, from its first one on, are free
    and so may still hold it (None: too much to look at). Some systems erase half of `first_cluster` on FAT32:
    then it is too low.
    """

    path: str
    size: int
    time: str
    is_folder: bool
    first_cluster: int
    recoverable: bool | None
    name_is_whole: bool


class Search:
    """Finds what was removed, within limits."""

    def __init__(self, source: Source, geometry: Geometry, table: FatTable, tree: Tree) -> None:
        self._source = source
        self._geometry = geometry
        self._table = table
        self._tree = tree
        self._budget = Budget()
        self._table_pieces = _MAX_TABLE_PIECES
        self._seen: set[int] = set()

    def run(self, entries: Iterable[Entry]) -> Iterator[Deleted]:
        """Look in the root and in each folder among the volume's entries."""
        yield from self._folder(ROOT, 0)
        for entry in entries:
            if entry.is_folder and not self._tree.is_root(entry.first_cluster):
                yield from self._folder(entry.path, entry.first_cluster)

    def _folder(self, path: str, first_cluster: int) -> Iterator[Deleted]:
        """What was removed from a folder, and what was in removed folders."""
        pending = [(path, first_cluster, False)]
        while pending:
            path, first_cluster, removed = pending.pop()
            if first_cluster in self._seen:
                continue
            self._seen.add(first_cluster)
            for found in self._scan(path, first_cluster, removed):
                yield found
                if found.is_folder and found.recoverable:
                    pending.append((found.path, found.first_cluster, True))

    def _scan(self, path: str, first_cluster: int, removed: bool) -> Iterator[Deleted]:
        long = b""
        blocks = self._removed_folder(first_cluster) if removed else self._tree.blocks(first_cluster)
        try:
            self._budget.enter(path)
            for block in blocks:
                for at in range(0, len(block), SLOT):
                    slot = block[at : at + SLOT]
                    if slot[0] == 0:
                        return
                    if slot[11] & fat_folder.ATTRIBUTES == fat_folder.LONG_NAME:
                        long = long[-SLOT * (fat_folder.MAX_PARTS - 1) :] + slot
                        continue
                    found = self._slot(path, slot, long) if removed or slot[0] == fat_folder.DELETED else None
                    long = b""
                    if found is not None:
                        yield found
                        self._budget.spend(path, 0, 1)
                self._budget.spend(path, len(block) // SLOT, 0)
        except OverLimit as error:
            self._tree.problems.add(f"limit: looking for removed files: {error}")
        except FormatError:
            # The walk has said so already.
            return

    def _slot(self, folder: str, slot: bytes, long: bytes) -> Deleted | None:
        """What a removed 8.3 slot says, with the parts of long names before it; None if it is no file."""
        stored, attributes, flags, high, time, date, low, size = fat_folder.SHORT.unpack(slot)
        if attributes & (fat_folder.VOLUME | 0xC0) or min(stored[1:]) < 0x20:
            return None
        is_folder = bool(attributes & fat_folder.FOLDER)
        if is_folder and stored[1:] in (_DOT[1:], _DOT[:10]):
            return None
        name, is_whole = _long_name(stored, long)
        if stored[0] == fat_folder.DELETED:
            stored = b"?" + stored[1:]
        elif not name:
            is_whole = True
        cluster = low | high << 16 if self._geometry.fat_type == 32 else low
        return Deleted(
            path=below(folder) + (name or fat_name.short_name(stored, flags)),
            size=0 if is_folder else size,
            time=fat_folder.time_text(date, time),
            is_folder=is_folder,
            first_cluster=cluster,
            recoverable=self._holds_folder(cluster) if is_folder else self._is_free(cluster, size),
            name_is_whole=is_whole,
        )

    def _is_free(self, cluster: int, size: int) -> bool | None:
        count = -(-size // self._geometry.cluster_size)
        if count == 0:
            return True
        if not self._geometry.is_cluster(cluster) or not self._geometry.is_cluster(cluster + count - 1):
            return False
        if self._table_pieces <= 0:
            return None
        self._table_pieces -= 1 + count // PIECE
        try:
            return self._table.first_used(cluster, cluster + count) == cluster + count
        except FormatError:
            return False

    def _holds_folder(self, cluster: int) -> bool | None:
        free = self._is_free(cluster, 1)
        if not free:
            return free
        begin = self._source.read(self._geometry.cluster_offset(cluster), SLOT)
        return begin[:11] == _DOT and bool(begin[11] & fat_folder.FOLDER)

    def _removed_folder(self, cluster: int) -> Iterator[bytes]:
        """A removed folder's first cluster, and those after it as long as they look like the rest of it."""
        geometry = self._geometry
        length = min(geometry.cluster_size, _MAX_REMOVED)
        for place in range(cluster, cluster + max(1, _MAX_REMOVED // geometry.cluster_size)):
            if place > cluster and not self._is_free(place, 1):
                return
            data = self._source.read(geometry.cluster_offset(place), length)
            if len(data) < length or (place > cluster and not _holds_slots(data)):
                return
            yield data


def _holds_slots(data: bytes) -> bool:
    """Whether all slots up to the end mark can be a folder's, and there are any."""
    for at in range(0, len(data), SLOT):
        slot = data[at : at + SLOT]
        if slot[0] == 0:
            return at > 0
        if slot[11] & fat_folder.ATTRIBUTES == fat_folder.LONG_NAME:
            sound = slot[12] == 0 and slot[26:28] == b"\0\0"
        else:
            name = slot[1:11]
            sound = not slot[11] & (fat_folder.VOLUME | 0xC0) and min(name) >= 0x20 and name == name.upper()
        if not sound:
            return False
    return True


def _long_name(stored: bytes, slots: bytes) -> tuple[str | None, bool]:
    """The long name in the parts before a removed 8.3 slot, and whether its end is there; None if they belong
    to another file.
    """
    if not slots:
        return None, False
    total = slots[13 - SLOT]
    start, is_whole = len(slots), False
    while start > 0 and slots[start - SLOT + 13] == total and not is_whole:
        start -= SLOT
        is_whole = _is_last(slots[start : start + SLOT])
    name = fat_name.long_name(fat_folder.long_text(slots[start:]))
    if name is None or not _belongs(name, stored, total):
        return None, False
    return name, is_whole


def _is_last(slot: bytes) -> bool:
    """Whether a name ends in this part of it. A name of 13 characters or a multiple has no end mark."""
    if slot[0] != fat_folder.DELETED and slot[0] & fat_folder.LAST_PART:
        return True
    return "\0" in fat_folder.long_text(slot).decode("utf-16-le", "replace")


def _belongs(name: str, stored: bytes, total: int) -> bool:
    """Whether the checksum leads to an 8.3 name that a file of this long name can have."""
    if stored[0] != fat_folder.DELETED:
        return fat_name.checksum(stored) == total
    first = fat_name.first_byte(stored[1:], total)
    letter = name.lstrip(" .")[:1]
    if letter.isascii() and letter.isalnum():
        return first == ord(letter.upper())
    return first not in _NEVER
