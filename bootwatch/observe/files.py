"""The files of one boot volume: hashed, their kinds told, small texts kept."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol, cast

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Entry
from bootwatch.formats.fat import Volume as FatVolume
from bootwatch.formats.reader import Reader
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.path import folder_of, is_within
from bootwatch.model.volume import File
from bootwatch.observe.answers import Answers
from bootwatch.observe.hashing import hash_rest
from bootwatch.observe.machine import Machine, detail_of, reason_in_reading
from bootwatch.observe.program import read_program

_CHUNK = 512 << 10
_TEXT_LIMIT = 64 << 10
PROGRAM_LIMIT = 16 << 20
_SEARCHED = 8 << 20
_LARGE = 4 << 20
_FILE_LIMIT = 4 << 30
_TEXTS_LIMIT = 16 << 20
_LOADER_FOLDER = "\\loader"
# A loader's settings may name more settings, in another folder; not in a deep one.
_SETTINGS = re.compile(r"(\\[^\\]+){1,4}\.(cfg|conf|lst|ini)", re.IGNORECASE)
_LIST = re.compile(r"(.*\\)?BOOT[A-Z0-9]*\.CSV", re.IGNORECASE)
_PRINTABLE = frozenset(b"\t\n\r\f") | frozenset(range(0x20, 0x100))

KeepProgram = Callable[[str, bytes], None]


class Content(Reader, Protocol):
    """A file's content, read into a buffer."""

    def readinto(self, buffer: memoryview, /) -> int | None: ...


@dataclass
class Listing:
    """What is found on one volume while it is read."""

    identity: str
    keep_program: KeepProgram | None = None
    answers: Answers | None = None
    files: dict[str, File] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)
    _texts: dict[str, bytes] = field(default_factory=dict)
    _texts_size: int = 0
    # One for all files: filled anew it stays in the processor's cache.
    _buffer: memoryview = field(default_factory=lambda: memoryview(bytearray(_CHUNK)))

    def gap(self, path: str | None, reason: Reason, detail: str) -> None:
        self.gaps.append(Gap("volume", self.identity, reason, detail, path))
        if self.answers:
            self.answers.spoil()

    def add_folder(self, path: str, time: str) -> None:
        self.files[path] = File(path, 0, time, None, is_folder=True)

    def add_file(
        self, path: str, size: int, time: str, open_file: Callable[[], Content], place: str = ""
    ) -> None:
        """Read one file; what goes wrong is a gap and leaves the file listed without its content. ``place``
        is where it lies on a mounted volume."""
        file = File(path, size, time, None)
        try:
            if size > _FILE_LIMIT:
                self.gap(path, Reason.LIMIT, f"larger than {_FILE_LIMIT} bytes")
            else:
                if self.answers:
                    self.answers.begin_file()
                file = self._read(file, open_file())
                if self.answers:
                    self.answers.end_file(file.sha256, place, must_read=_must_read(file))
        except OSError as error:
            self.gap(path, reason_in_reading(error), detail_of(error))
        except FormatError as error:
            self.gap(path, Reason.DAMAGED, str(error))
        self.files[path] = file

    def _read(self, file: File, reader: Content) -> File:
        digest = hashlib.sha256()
        size, parts = 0, list[bytes]()
        is_program = False
        while count := reader.readinto(self._buffer):
            chunk = self._buffer[:count]
            if size == 0:
                is_program = bytes(chunk[:2]) == b"MZ"
            limit = self._kept_of_programs if is_program else _TEXT_LIMIT
            if max(file.size, size + count) <= limit:
                parts.append(bytes(chunk))
            size += count
            digest.update(chunk)
            if not is_program and file.size > _LARGE:
                size += hash_rest(reader.readinto, digest)
        if size != file.size:
            self.gap(file.path, Reason.DAMAGED, f"{size} bytes could be read of {file.size}")
            return file
        name, kept = digest.hexdigest(), b"".join(parts)
        if is_program:
            if self.keep_program and size <= PROGRAM_LIMIT:
                self.keep_program(name, kept)
            whole = kept if size <= _SEARCHED else None
            return File(file.path, size, file.time, name, program=read_program(reader, whole))
        is_text = _is_text(kept) or (_is_list(file.path) and size % 2 == 0)
        if size == len(kept) and self._texts_size + size <= _TEXTS_LIMIT and is_text:
            self._texts[file.path] = kept
            self._texts_size += size
        return File(file.path, size, file.time, name)

    @property
    def _kept_of_programs(self) -> int:
        return PROGRAM_LIMIT if self.keep_program else _SEARCHED

    def texts(self) -> dict[str, bytes]:
        """The small texts beside a loader, below \\loader, or named as settings are; by their SHA-256."""
        beside = {folder_of(file.path) for file in self.files.values() if file.program}
        wanted = (
            data
            for path, data in self._texts.items()
            if folder_of(path) in beside or is_within(path, _LOADER_FOLDER) or _is_settings(path)
        )
        return {hashlib.sha256(data).hexdigest(): data for data in wanted}


def _must_read(file: File) -> bool:
    """Whether its content is looked at each time, whatever its folder says of it."""
    return bool(file.program) or file.size <= _TEXT_LIMIT


def _is_settings(path: str) -> bool:
    return _SETTINGS.fullmatch(path) is not None


def _is_list(path: str) -> bool:
    """Whether a file is named as lists are from which lost entries are made again: mostly UTF-16 without a
    byte order mark."""
    return _LIST.fullmatch(path) is not None


def _is_text(data: bytes) -> bool:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return len(data) % 2 == 0
    return bool(data) and _PRINTABLE.issuperset(data)


def read_folder(
    machine: Machine,
    listing: Listing,
    top: str,
    to_text_time: Callable[[float], str],
    others: frozenset[str] = frozenset(),
) -> None:
    """List and read everything below the folder ``top``, where the volume is mounted; follows no links.

    ``others`` are folders where something else is mounted: they are left out.
    """
    pending = [(top, "")]
    while pending:
        folder, prefix = pending.pop()
        try:
            found = machine.listed(folder)
        except OSError as error:
            listing.gap(prefix or None, reason_in_reading(error), detail_of(error))
            continue
        for one in found:
            path = f"{prefix}\\{one.name}"
            if one.error:
                listing.gap(path, reason_in_reading(one.error), detail_of(one.error))
            elif one.place in others:
                continue
            elif one.about and one.is_folder:
                listing.add_folder(path, to_text_time(one.about.st_mtime))
                pending.append((one.place, path))
            elif one.about and one.is_file:
                time = to_text_time(one.about.st_mtime)
                _add_mounted(machine, listing, path, one.place, one.about.st_size, time)


def _add_mounted(machine: Machine, listing: Listing, path: str, real: str, size: int, time: str) -> None:
    try:
        with machine.open_listed(real) as file:
            listing.add_file(path, size, time, lambda: cast(Content, file), real)
    except OSError as error:
        listing.files[path] = File(path, size, time, None)
        listing.gap(path, reason_in_reading(error), detail_of(error))


def read_walk(listing: Listing, volume: FatVolume) -> None:
    """List and read everything on a volume that is not mounted, straight from its partition."""
    # Files that share clusters could have the same bytes read without end.
    left = volume.capacity
    try:
        for entry in volume.walk():
            if entry.is_folder:
                listing.add_folder(entry.path, entry.time)
            elif entry.size > left:
                listing.files[entry.path] = File(entry.path, entry.size, entry.time, None)
                listing.gap(entry.path, Reason.LIMIT, "the volume's files claim more room than it has")
            else:
                left -= entry.size
                if listing.answers:
                    listing.answers.note_time(entry.time)
                listing.add_file(entry.path, entry.size, entry.time, _opener(volume, entry))
    except OSError as error:
        # What was listed so far stays, but nothing is known of what was still to come.
        listing.gap(None, reason_in_reading(error), detail_of(error))
    for path in sorted(volume.damaged_paths):
        is_limit = path in volume.limited_paths
        reason, detail = (
            (Reason.LIMIT, "more than is looked at")
            if is_limit
            else (Reason.DAMAGED, "the folder is damaged")
        )
        listing.gap(None if path == "\\" else path, reason, detail)


def _opener(volume: FatVolume, entry: Entry) -> Callable[[], Content]:
    return lambda: volume.open(entry)
