"""FAT12, FAT16 and FAT32 volumes with long names, read-only (FAT specification 1.03; UEFI 2.10 §13.3).

Boot sector, FATs, on FAT12/16 a root folder of fixed size, then clusters. See `fat_boot`, `fat_table`,
`fat_tree`, `fat_folder`, `fat_name` and `fat_file` for the layout of each, `fat_deleted` for what was removed
and `fat_check` for what does not add up. Sizes from a USB stick's to the largest, whether in a partition or
on a whole disk without a table. Files stream; of folders a few listings are kept. `fat_limit` says how much
is looked at.
"""

import errno
import os
import struct
from collections.abc import Iterator

from . import FormatError, TooLarge, fat_boot, fat_name
from .fat_boot import Geometry
from .fat_check import Check
from .fat_deleted import Deleted, Search
from .fat_file import FatFile
from .fat_folder import Entry
from .fat_limit import Budget
from .fat_table import FatTable
from .fat_tree import ROOT, Folder, Tree
from .reader import Reader, Source

# The free-space record: two marks, then the number of free clusters, all ones when it is not known.
_INFO_MARKS = (b"RRaA", b"rrAa")
_INFO_FREE = struct.Struct("<I")
_INFO_FREE_AT = 488
_INFO_UNKNOWN = 0xFFFFFFFF
# Up to here the table is counted at once; the volume's own record is only a hint.
_MAX_COUNTED = 16 << 20
_NO_NAME = b"NO NAME    "
READ_LIMIT = 16 << 20

__all__ = ["READ_LIMIT", "Deleted", "Entry", "Volume"]


class Volume:
    """A FAT volume in a reader that begins at its boot sector."""

    def __init__(self, reader: Reader) -> None:
        """Read the boot sector. FormatError when it is not FAT; OSError passes through.

        >>> import io
        >>> boot = bytes(11) + bytes.fromhex("0002 01 0100 01 1000 4000 f8 0100")
        >>> volume = Volume(io.BytesIO(boot.ljust(64 * 512, b"\\0")))
        >>> volume.fat_type, list(volume.walk()), volume.free_bytes
        (12, [], 31232)
        """
        self._source = Source(reader)
        self._geometry: Geometry = fat_boot.parse(self._source.read(0, fat_boot.SIZE))
        self._table = FatTable(self._source, self._geometry)
        self._tree = Tree(self._source, self._geometry, self._table)

    @property
    def problems(self) -> list[str]:
        """What was found damaged so far; grows while the volume is walked."""
        return self._tree.problems.found

    @property
    def damaged_paths(self) -> set[str]:
        """Folders whose content is not known in full, so that what seems absent below them is unknown, not
        missing. Grows while the volume is walked.
        """
        return self._tree.damaged_paths

    @property
    def limited_paths(self) -> set[str]:
        """Those of `damaged_paths` that are only too much to look at (see `fat_limit`)."""
        return self._tree.limited_paths

    @property
    def fat_type(self) -> int:
        """12, 16 or 32."""
        return self._geometry.fat_type

    @property
    def cluster_size(self) -> int:
        """Bytes a cluster."""
        return self._geometry.cluster_size

    @property
    def capacity(self) -> int:
        """Bytes that files can have in all. Files that claim more share clusters or lie beyond the end."""
        return min(self._geometry.cluster_count * self._geometry.cluster_size, self._source.size)

    @property
    def serial(self) -> str:
        """The volume's serial number, spelled "ABCD-1234"."""
        return self._geometry.serial

    @property
    def label(self) -> str:
        """The label in the root folder, else the boot sector's; "" if there is none."""
        stored = self._folder(ROOT, 0, Budget()).label
        if stored is None:
            stored = b"" if self._geometry.label == _NO_NAME else self._geometry.label
        return fat_name.label(stored)

    @property
    def dirty(self) -> bool:
        """Whether the volume was not unmounted cleanly the last time, by its boot sector or its FAT."""
        try:
            return bool(self._geometry.state & 1) or not self._table.is_clean()
        except FormatError as error:
            self._tree.problems.add(str(error))
            return True

    @property
    def free_bytes(self) -> int:
        """Free space, counted in the FAT; where that would take long and the volume was unmounted cleanly,
        what its own record says.
        """
        free = None
        if self._geometry.fat_size > _MAX_COUNTED and not self.dirty:
            free = self._recorded_free()
        if free is None or free > self._geometry.cluster_count:
            try:
                free = self._table.count_free()
            except FormatError as error:
                self._tree.problems.add(str(error))
                free = 0
        return free * self._geometry.cluster_size

    def walk(self) -> Iterator[Entry]:
        """Every file and folder below the root, a folder before its content, in the volume's own order.

        Damage within one folder is noted in `problems` and `damaged_paths`, and the walk goes on; OSError
        passes.
        """
        budget = Budget()
        seen: set[int] = set()
        stack = [self._entries(ROOT, 0, budget)]
        while stack:
            for entry in stack[-1]:
                yield entry
                if not entry.is_folder:
                    continue
                path, cluster = entry.path, entry.first_cluster
                if cluster in seen:
                    self._tree.damage(path, f"leads to cluster {cluster}, where another folder begins")
                else:
                    seen.add(cluster)
                    stack.append(self._entries(path, cluster, budget))
                    break
            else:
                stack.pop()

    def find(self, path: str) -> Entry:
        """The entry at `path`, by long name or 8.3 alias, upper and lower case alike.

        FileNotFoundError when it is absent; FormatError when it can't be told, because a folder on the way is
        damaged.
        """
        budget = Budget()
        entry = Entry(ROOT, 0, "", True, "", 0)
        for name in filter(None, path.replace("/", "\\").split("\\")):
            if not entry.is_folder:
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
            folder = self._folder(entry.path, entry.first_cluster, budget)
            found = folder.find(name)
            if found is None and folder.damaged:
                raise FormatError(f"{path}: cannot be looked for, the folder {entry.path} is damaged")
            if found is None:
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
            entry = found
        return entry

    def open(self, file: str | Entry) -> FatFile:
        """A seekable reader of the file at a path, or of an entry of `walk`, which streams. Fails as `find`
        does; IsADirectoryError for a folder. Its reads raise FormatError where the file's cluster chain is
        damaged.
        """
        entry = self.find(file) if isinstance(file, str) else file
        if entry.is_folder:
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), entry.path)
        return FatFile(self._source, self._geometry, self._table, entry.path, entry.first_cluster, entry.size)

    def read(self, path: str, limit: int = READ_LIMIT) -> bytes:
        """The whole content of the file at `path`. Fails as `open` does; TooLarge beyond `limit` bytes."""
        file = self.open(path)
        if file.size > limit:
            raise TooLarge(f"{path}: {file.size} bytes, more than the limit of {limit}")
        return file.read()

    def deleted(self) -> Iterator[Deleted]:
        """What is left of removed files and folders, folder by folder as `walk` goes; see `fat_deleted`."""
        return Search(self._source, self._geometry, self._table, self._tree).run(self.walk())

    def check(self) -> list[str]:
        """Everything that does not add up, `problems` included. Reads the FAT and all folders, but no file;
        see `fat_check`.
        """
        check = Check(self._source, self._geometry, self._table, self._tree)
        return check.run(self.walk(), self._recorded_free())

    def faults(self) -> dict[str, str]:
        """Files and folders whose clusters do not add up, by path, and the first that `check` says of
        each. Reads less: the chains in one copy of the FAT, and the folders.
        """
        return Check(self._source, self._geometry, self._table, self._tree).faults(self.walk())

    def _entries(self, path: str, first_cluster: int, budget: Budget) -> Iterator[Entry]:
        return iter(self._folder(path, first_cluster, budget).entries)

    def _folder(self, path: str, first_cluster: int, budget: Budget) -> Folder:
        return self._tree.folder(path, first_cluster, budget)

    def _recorded_free(self) -> int | None:
        """Free clusters by the free-space record, if there is one and it says so."""
        if not self._geometry.info_offset:
            return None
        info = self._source.read(self._geometry.info_offset, fat_boot.SIZE)
        if len(info) < fat_boot.SIZE or (info[:4], info[484:488]) != _INFO_MARKS:
            return None
        free: int = _INFO_FREE.unpack_from(info, _INFO_FREE_AT)[0]
        return None if free == _INFO_UNKNOWN else free
