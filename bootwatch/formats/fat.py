"""FAT12, FAT16 and FAT32 volumes with long names, read-only (FAT specification 1.03; UEFI 2.10 §13.3).

Boot sector, FATs, on FAT12/16 a root folder of fixed size, then clusters. See `fat_boot`, `fat_table`,
`fat_folder`, `fat_name` and `fat_file` for the layout of each. Nothing is ever held whole but one folder's
listing.
"""

import errno
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass

from . import FormatError, TooLarge, fat_boot, fat_name
from .fat_boot import SLOT, Geometry
from .fat_file import FatFile
from .fat_folder import Slot, SlotParser
from .fat_table import FatTable
from .reader import Reader, Source

# The free-space record: two marks, then the number of free clusters, all ones when it is not known.
_INFO_MARKS = (b"RRaA", b"rrAa")
_INFO_FREE = struct.Struct("<I")
_INFO_FREE_AT = 488
_NO_NAME = b"NO NAME    "
# The most that Linux accepts: 65,536 slots a folder.
_MAX_FOLDER_BYTES = 65536 * SLOT
_MAX_CACHED_SLOTS = 200_000
MAX_ENTRIES = 1_000_000
READ_LIMIT = 16 << 20


@dataclass(frozen=True, slots=True)
class Entry:
    """A file or folder. `path` has backslashes, a leading one included, spelled as on the volume; `size` in
    bytes; `time` local, "YYYY-MM-DDTHH:MM:SS" or ""; `alias` the 8.3 name.
    """

    path: str
    size: int
    time: str
    is_folder: bool
    alias: str
    first_cluster: int


@dataclass(slots=True)
class _Folder:
    slots: list[Slot]
    by_name: dict[str, Slot]
    damaged: bool


class Volume:
    """A FAT volume in a reader that begins at its boot sector.

    `problems` grows while the volume is walked; `damaged_paths` are the folders whose content is not known in
    full, so that what seems absent below them is unknown, not missing.
    """

    def __init__(self, reader: Reader) -> None:
        """Read the boot sector. FormatError when it is not FAT; OSError passes through."""
        self._source = Source(reader)
        self._geometry: Geometry = fat_boot.parse(self._source.read(0, fat_boot.SIZE))
        self._table = FatTable(self._source, self._geometry)
        self._cache: dict[int, _Folder] = {}
        self._cached_slots = 0
        self.problems: list[str] = []
        self.damaged_paths: set[str] = set()

    @property
    def fat_type(self) -> int:
        """12, 16 or 32."""
        return self._geometry.fat_type

    @property
    def cluster_size(self) -> int:
        """Bytes a cluster."""
        return self._geometry.cluster_size

    @property
    def serial(self) -> str:
        """The volume's serial number, spelled "ABCD-1234"."""
        return self._geometry.serial

    @property
    def label(self) -> str:
        """The label in the root folder, else the boot sector's; "" if there is none."""
        for slot in self._folder("\\", 0).slots:
            if slot.is_label:
                return _label(slot.stored_name)
        stored = self._geometry.label
        return "" if stored == _NO_NAME else _label(stored)

    @property
    def dirty(self) -> bool:
        """Whether the volume was not unmounted cleanly the last time, by its boot sector or its FAT."""
        try:
            return bool(self._geometry.state & 1) or not self._table.is_clean()
        except FormatError as error:
            self._note(str(error))
            return True

    @property
    def free_bytes(self) -> int:
        """Free space: the volume's own record if it was unmounted cleanly, else counted in the FAT."""
        free = None if self.dirty else self._recorded_free()
        if free is None:
            try:
                free = self._table.count_free()
            except FormatError as error:
                self._note(str(error))
                free = 0
        return free * self._geometry.cluster_size

    def walk(self) -> Iterator[Entry]:
        """Every file and folder below the root, a folder before its content, in the volume's own order.

        Damage within one folder is noted in `problems` and `damaged_paths`, and the walk goes on; OSError
        passes.
        """
        seen: set[int] = set()
        stack = [self._entries("\\", 0)]
        count = 0
        while stack:
            entry = next(stack[-1], None)
            if entry is None:
                stack.pop()
                continue
            count += 1
            if count > MAX_ENTRIES:
                self._damage("\\", f"more than {MAX_ENTRIES} files: the rest was not looked at")
                return
            yield entry
            if entry.is_folder and entry.first_cluster in seen:
                self._damage(
                    entry.path, f"leads to cluster {entry.first_cluster}, where another folder begins"
                )
            elif entry.is_folder:
                seen.add(entry.first_cluster)
                stack.append(self._entries(entry.path, entry.first_cluster))

    def find(self, path: str) -> Entry:
        """The entry at `path`, by long name or 8.3 alias, upper and lower case alike.

        FileNotFoundError when it is absent; FormatError when it can't be told, because a folder on the way is
        damaged.
        """
        names = [name for name in path.replace("/", "\\").split("\\") if name]
        entry = Entry("\\", 0, "", True, "", 0)
        for name in names:
            if not entry.is_folder:
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
            folder = self._folder(entry.path, entry.first_cluster)
            slot = folder.by_name.get(fat_name.fold(name))
            if slot is None and folder.damaged:
                raise FormatError(f"{path}: cannot be looked for, the folder {entry.path} is damaged")
            if slot is None:
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
            entry = _entry(entry.path, slot)
        return entry

    def open(self, path: str) -> FatFile:
        """A seekable reader of the file at `path`, which streams. Fails as `find` does; IsADirectoryError for
        a folder. Its reads raise FormatError where the file's cluster chain is damaged.
        """
        entry = self.find(path)
        if entry.is_folder:
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), path)
        return FatFile(self._source, self._geometry, self._table, entry.path, entry.first_cluster, entry.size)

    def read(self, path: str, limit: int = READ_LIMIT) -> bytes:
        """The whole content of the file at `path`. Fails as `open` does; TooLarge beyond `limit` bytes."""
        file = self.open(path)
        if file.size > limit:
            raise TooLarge(f"{path}: {file.size} bytes, more than the limit of {limit}")
        return file.read()

    def _entries(self, path: str, first_cluster: int) -> Iterator[Entry]:
        folder = self._folder(path, first_cluster)
        return (_entry(path, slot) for slot in folder.slots if not slot.is_label)

    def _folder(self, path: str, first_cluster: int) -> _Folder:
        """A folder's listing; `first_cluster` 0 is the root. Cached: files are opened after a walk."""
        if path != "\\" and first_cluster in (0, self._geometry.root_cluster):
            self._damage(path, f"leads to cluster {first_cluster}, which is the root folder's")
            return _Folder([], {}, True)
        folder = self._cache.get(first_cluster)
        if folder is None:
            folder = self._read_folder(path, first_cluster)
            if self._cached_slots + len(folder.slots) > _MAX_CACHED_SLOTS:
                self._cache.clear()
                self._cached_slots = 0
            self._cache[first_cluster] = folder
            self._cached_slots += len(folder.slots)
        if folder.damaged:
            self.damaged_paths.add(path)
        return folder

    def _read_folder(self, path: str, first_cluster: int) -> _Folder:
        parser = SlotParser(wide_clusters=self._geometry.fat_type == 32)
        slots: list[Slot] = []
        damaged = False
        try:
            for piece in self._pieces(first_cluster):
                slots.extend(parser.feed(piece))
                if parser.ended:
                    break
        except FormatError as error:
            self._damage(path, str(error))
            damaged = True
        if path != "\\" and not damaged and not _begins_with_dot(slots):
            self._damage(path, f"cluster {first_cluster} does not hold a folder's beginning")
            damaged = True
        slots = [slot for slot in slots if slot.is_label or slot.alias not in (".", "..")]
        return _Folder(slots, _index(slots), damaged)

    def _pieces(self, first_cluster: int) -> Iterator[bytes]:
        """A folder's bytes, a cluster at a time. FormatError at the point where the chain is damaged."""
        geometry = self._geometry
        if first_cluster == 0 and geometry.fat_type != 32:
            yield self._piece(geometry.root_offset, geometry.root_size)
            return
        cluster: int | None = first_cluster or geometry.root_cluster
        if not geometry.is_cluster(cluster or 0):
            raise FormatError(f"first cluster {cluster} is not on the volume")
        seen: set[int] = set()
        while cluster is not None:
            if cluster in seen:
                raise FormatError(f"the cluster chain runs in a circle at cluster {cluster}")
            if len(seen) * geometry.cluster_size >= _MAX_FOLDER_BYTES:
                raise FormatError(f"longer than {_MAX_FOLDER_BYTES} bytes, the most that a folder can have")
            seen.add(cluster)
            yield self._piece(geometry.cluster_offset(cluster), geometry.cluster_size)
            cluster = self._table.follow(cluster)

    def _piece(self, offset: int, length: int) -> bytes:
        data = self._source.read(offset, length)
        if len(data) < length:
            raise FormatError(f"the volume ends at byte {offset + len(data)}")
        return data

    def _recorded_free(self) -> int | None:
        if not self._geometry.info_offset:
            return None
        info = self._source.read(self._geometry.info_offset, fat_boot.SIZE)
        if len(info) < fat_boot.SIZE or (info[:4], info[484:488]) != _INFO_MARKS:
            return None
        (free,) = _INFO_FREE.unpack_from(info, _INFO_FREE_AT)
        return int(free) if free <= self._geometry.cluster_count else None

    def _damage(self, path: str, text: str) -> None:
        self.damaged_paths.add(path)
        self._note(f"{path}: {text}")

    def _note(self, text: str) -> None:
        if text not in self.problems:
            self.problems.append(text)


def _entry(folder: str, slot: Slot) -> Entry:
    path = ("\\" if folder == "\\" else folder + "\\") + slot.name
    return Entry(path, slot.size, slot.time, slot.is_folder, slot.alias, slot.first_cluster)


def _index(slots: list[Slot]) -> dict[str, Slot]:
    """By folded name; a long name wins over another file's alias, the first of equal names wins."""
    found: dict[str, Slot] = {}
    for slot in slots:
        if not slot.is_label:
            found.setdefault(fat_name.fold(slot.name), slot)
    for slot in slots:
        if not slot.is_label:
            found.setdefault(fat_name.fold(slot.alias), slot)
    return found


def _begins_with_dot(slots: list[Slot]) -> bool:
    return bool(slots) and slots[0].is_folder and slots[0].alias == "."


def _label(stored: bytes) -> str:
    return stored.rstrip(b" \0").decode(fat_name.CODE_PAGE)
