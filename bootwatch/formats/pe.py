"""Headers of EFI programs: Microsoft PE/COFF 8.3, as UEFI 2.10 §2.1.1 uses it.

"MZ", u32 offset of the PE header at 60; "PE\\0\\0", COFF header (u16 machine, u16 number of sections, u32
time, u32 symbol table, u32 symbols, u16 size of the optional header, u16 flags), optional header (magic 0x10B
PE32 or 0x20B PE32+, size of all headers at 60, subsystem at 68, data directories from 96 or 112), sections of
40 bytes. Directory 4 is the certificate table, whose address is a file offset; directory 2 holds resources.
Only headers, section tables and resources are read, whatever the file's size.
"""

import io
import struct
from dataclasses import dataclass, field

from . import FormatError, pe_version
from .reader import Reader, Source

_DOS_SIZE = 64
_PE_OFFSET = struct.Struct("<I")
_PE_OFFSET_AT = 60
_COFF = struct.Struct("<4sHHIIIHH")
_MAGIC = struct.Struct("<H")
_HEADERS_SIZE = struct.Struct("<I")
_HEADERS_SIZE_AT = 60
_SUBSYSTEM = struct.Struct("<H")
_SUBSYSTEM_AT = 68
_DIRECTORY = struct.Struct("<II")
_DIRECTORIES_AT = {0x10B: 96, 0x20B: 112}
_RESOURCES, _CERTIFICATES = 2, 4
_SECTION = struct.Struct("<8sIIII16x")
_SYMBOL_SIZE = 18
_NAME_LIMIT = 256
MACHINES = {
    0x014C: "IA32",
    0x0200: "IA64",
    0x01C0: "ARM",
    0x01C2: "ARM",
    0x01C4: "ARM",
    0x0EBC: "EBC",
    0x5032: "RISCV32",
    0x5064: "RISCV64",
    0x6232: "LOONGARCH32",
    0x6264: "LOONGARCH64",
    0x8664: "X64",
    0xAA64: "AA64",
}
SUBSYSTEM_APPLICATION, SUBSYSTEM_BOOT_DRIVER, SUBSYSTEM_RUNTIME_DRIVER = 10, 11, 12


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


@dataclass(frozen=True, slots=True)
class Image:
    """What the headers say. Sizes in bytes: `declared_size` is the end of the last section or certificate
    table, `real_size` the file's. `subsystem` is 0 when the headers are cut off before it.
    """

    machine: int
    subsystem: int
    sections: tuple[Section, ...]
    declared_size: int
    real_size: int
    version_info: dict[str, str]
    problems: list[str] = field(default_factory=list)

    @property
    def machine_name(self) -> str:
        """As UEFI spells it in BOOT<machine>.EFI; a number that UEFI doesn't name in hex."""
        return MACHINES.get(self.machine, f"{self.machine:#06x}")

    @property
    def truncated(self) -> bool:
        """The file ends before what its headers declare."""
        return self.real_size < self.declared_size

    @classmethod
    def parse(cls, data: bytes) -> "Image":
        """Read a whole file's bytes. FormatError when they are no PE image."""
        return cls.read(io.BytesIO(data))

    @classmethod
    def read(cls, reader: Reader) -> "Image":
        """Read the headers of a file. FormatError when it is no PE image; OSError passes through."""
        return _HeaderReader(Source(reader)).image()


class _HeaderReader:
    def __init__(self, source: Source) -> None:
        self._source = source
        self.problems: list[str] = []

    def image(self) -> Image:
        at = self._pe_offset()
        head = self._source.read(at, _COFF.size)
        if len(head) < _COFF.size or not head.startswith(b"PE\0\0"):
            raise FormatError(f"no PE header at byte {at}, where the file says it is")
        _, machine, count, _, symbols, symbol_count, optional_size, _ = _COFF.unpack(head)
        optional_at = at + _COFF.size
        optional = self._source.read(optional_at, optional_size)
        strings = symbols + symbol_count * _SYMBOL_SIZE if symbols else 0
        sections = self._sections(optional_at + optional_size, count, strings)
        directories = self._directories(optional, optional_at)
        certificates = directories.get(_CERTIFICATES, (0, 0))
        declared = max(
            optional_at + optional_size + count * _SECTION.size,
            self._field(optional, _HEADERS_SIZE, _HEADERS_SIZE_AT),
            *(section.raw_end for section in sections),
            sum(certificates) if all(certificates) else 0,
        )
        if declared > self._source.size:
            self.problems.append(
                f"truncated: the headers declare {declared} bytes, the file has {self._source.size}"
            )
        subsystem = self._field(optional, _SUBSYSTEM, _SUBSYSTEM_AT)
        version = self._version(sections, directories.get(_RESOURCES, (0, 0)))
        return Image(machine, subsystem, sections, declared, self._source.size, version, self.problems)

    def _pe_offset(self) -> int:
        head = self._source.read(0, _DOS_SIZE)
        if not head.startswith(b"MZ"):
            raise FormatError("no EFI program: it does not begin with MZ")
        if len(head) < _DOS_SIZE:
            raise FormatError(f"no EFI program: {len(head)} bytes hold no header")
        return int(_PE_OFFSET.unpack_from(head, _PE_OFFSET_AT)[0])

    def _field(self, optional: bytes, layout: struct.Struct, at: int) -> int:
        return int(layout.unpack_from(optional, at)[0]) if at + layout.size <= len(optional) else 0

    def _directories(self, optional: bytes, at: int) -> dict[int, tuple[int, int]]:
        """Data directories by number: address (a file offset for certificates) and size."""
        if len(optional) < _SUBSYSTEM_AT + _SUBSYSTEM.size:
            self.problems.append(f"optional header at byte {at}: only {len(optional)} bytes")
            return {}
        magic = self._field(optional, _MAGIC, 0)
        start = _DIRECTORIES_AT.get(magic)
        if start is None:
            self.problems.append(f"optional header at byte {at}: unknown kind {magic:#x}")
            return {}
        count = min(
            self._field(optional, _HEADERS_SIZE, start - 4), (len(optional) - start) // _DIRECTORY.size
        )
        return {
            index: _DIRECTORY.unpack_from(optional, start + index * _DIRECTORY.size) for index in range(count)
        }

    def _sections(self, at: int, count: int, strings: int) -> tuple[Section, ...]:
        table = self._source.read(at, count * _SECTION.size)
        if len(table) < count * _SECTION.size:
            self.problems.append(f"section table at byte {at}: cut off before its {count} sections end")
        found = []
        for name, size, address, raw_size, raw_offset in _SECTION.iter_unpack(table[: len(table) // 40 * 40]):
            found.append(Section(self._name(name, strings), address, size, raw_offset, raw_size))
        return tuple(found)

    def _name(self, stored: bytes, strings: int) -> str:
        """Names longer than eight bytes: "/" and a decimal offset into the string table after the symbols."""
        short = stored.rstrip(b"\0").decode("latin-1")
        if not strings or not short.startswith("/") or not short[1:].isascii() or not short[1:].isdigit():
            return short
        text = self._source.read(strings + int(short[1:]), _NAME_LIMIT)
        return text.split(b"\0", 1)[0].decode("latin-1") or short

    def _version(self, sections: tuple[Section, ...], directory: tuple[int, int]) -> dict[str, str]:
        """The version resource, read only where a section's bytes in the file hold it."""
        address, _size = directory
        for section in sections:
            if address and section.address <= address < section.address + section.raw_size:
                start = section.raw_offset + address - section.address
                length = min(section.raw_size - (address - section.address), pe_version.MAX_BYTES)
                return pe_version.strings(self._source.read(start, length), address)
        return {}
