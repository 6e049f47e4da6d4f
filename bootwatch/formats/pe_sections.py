"""Section tables of PE images: PE/COFF 8.3 §4.

Sections of 40 bytes: name in 8 bytes (a longer one is "/" and a decimal offset, or "//" and six digits of
base 64, into the string table behind the symbols, whose first u32 is its size), u32 size in memory, u32
address, u32 size in the file, u32 offset in the file, then 16 bytes about relocations and flags.
"""

import base64
import struct
from collections.abc import Iterable
from dataclasses import dataclass

from .reader import Source

SIZE = 40
MAX_SECTIONS = 4096
_SECTION = struct.Struct("<8sIIII16x")
_STRINGS_SIZE = struct.Struct("<I")
_NAME_LIMIT = 256
_PLACES = (("in the file", "raw_offset", "raw_size"), ("in memory", "address", "size"))


@dataclass(frozen=True, slots=True)
class Section:
    """One section: name (long ones looked up), address and size in memory, offset and size in the file."""

    name: str
    address: int
    size: int
    raw_offset: int
    raw_size: int

    @property
    def raw_end(self) -> int:
        return self.raw_offset + self.raw_size if self.raw_size else 0

    @property
    def content_size(self) -> int:
        """Bytes of content in the file: without the padding up to the file's alignment."""
        return min(self.size or self.raw_size, self.raw_size)


def read(source: Source, at: int, count: int, strings_at: int, problems: list[str]) -> tuple[Section, ...]:
    """`count` sections from byte `at` on; `strings_at` is the string table's place, 0 for none."""
    if count > MAX_SECTIONS:
        problems.append(
            f"section table at byte {at}: {count} sections, of which {MAX_SECTIONS} are looked at"
        )
        count = MAX_SECTIONS
    table = source.read(at, count * SIZE)
    if len(table) < count * SIZE:
        problems.append(f"section table at byte {at}: cut off before its {count} sections end")
    names = _Names(source, strings_at)
    found = []
    for stored, size, address, raw_size, raw_offset in _SECTION.iter_unpack(
        table[: len(table) // SIZE * SIZE]
    ):
        name = names.look_up(stored)
        if name is None:
            name = stored.rstrip(b"\0").decode("latin-1")
            problems.append(f"section {name}: its long name is not in the string table at byte {strings_at}")
        found.append(Section(name, address, size, raw_offset, raw_size))
    return tuple(found)


class _Names:
    def __init__(self, source: Source, strings_at: int) -> None:
        self._source = source
        self._at = strings_at
        head = source.read(strings_at, _STRINGS_SIZE.size) if strings_at else b""
        self._size = _STRINGS_SIZE.unpack(head)[0] if len(head) == _STRINGS_SIZE.size else 0

    def look_up(self, stored: bytes) -> str | None:
        """The name; None when it is a long one that the string table lacks."""
        short = stored.rstrip(b"\0").decode("latin-1")
        offset = _offset(short)
        if offset is None or not self._at:
            return short
        if not _STRINGS_SIZE.size <= offset < self._size:
            return None
        text = self._source.read(self._at + offset, min(_NAME_LIMIT, self._size - offset))
        return text.split(b"\0", 1)[0].decode("latin-1") or None


def _offset(name: str) -> int | None:
    """The offset that a long name's stand-in holds; None for a name that is none."""
    digits = name[1:]
    if name.startswith("/") and digits.isascii() and digits.isdigit():
        return int(digits)
    if len(name) == 8 and name.startswith("//"):
        try:
            return int.from_bytes(base64.b64decode("AA" + name[2:], validate=True))
        except ValueError:
            return None
    return None


def check(sections: Iterable[Section], headers_end: int, file_size: int) -> list[str]:
    """What does not fit about the sections' places; `headers_end` is the offset behind the section table."""
    sections = tuple(sections)
    problems = []
    for section in sections:
        if section.raw_size and section.raw_offset < headers_end:
            problems.append(
                f"section {section.name}: begins at byte {section.raw_offset}, within the headers"
            )
        if section.raw_end > file_size:
            missing = section.raw_end - max(section.raw_offset, file_size)
            problems.append(
                f"section {section.name} at byte {section.raw_offset}: "
                f"{missing} of its {section.raw_size} bytes lie beyond the file's end"
            )
    return problems + [text for place in _PLACES for text in _overlaps(sections, *place)]


def _overlaps(sections: tuple[Section, ...], where: str, start: str, size: str) -> list[str]:
    problems = []
    ordered = sorted((getattr(one, start), getattr(one, size), one.name) for one in sections)
    end, before = 0, ""
    for first, length, name in ordered:
        if length and first < end:
            problems.append(f"section {name} overlaps section {before} {where}, at {first:#x}")
        if first + length > end:
            end, before = first + length, name
    return problems
