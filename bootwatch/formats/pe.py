"""Headers of EFI programs: PE/COFF 8.3, as UEFI 2.10 §2.1.1 uses it.

"MZ", u32 offset of the PE header at 60; "PE\\0\\0", COFF header (u16 machine, u16 number of sections, u32
time, u32 symbol table, u32 symbols, u16 size of the optional header, u16 flags), optional header (magic 0x10B
PE32 or 0x20B PE32+, size of all headers at 60, subsystem at 68, data directories from 96 or 112), sections of
40 bytes. Directory 4 is the certificate table, whose address is a file offset; directory 2 holds resources.
A unified kernel image carries its system's texts in sections: `.osrel`, `.uname`, `.cmdline` (UAPI Unified
Kernel Image). Only headers, section tables and what is asked for are read, whatever the file's size.
"""

import io
import struct
from dataclasses import dataclass, field

from . import FormatError, TooLarge, os_release, pe_digest, pe_sections, pe_signatures, pe_version, sbat
from .pe_digest import Layout
from .pe_sections import Section
from .pe_signatures import AttributeCertificate, Signatures
from .problems import bounded
from .reader import Reader, Source
from .sbat import SbatEntries, SbatEntry

_DOS_SIZE = 64
_PE_OFFSET = struct.Struct("<I")
_PE_OFFSET_AT = 60
_COFF = struct.Struct("<4sHHIIIHH")
_MAGIC = struct.Struct("<H")
_HEADERS_SIZE = struct.Struct("<I")
_HEADERS_SIZE_AT = 60
_SUBSYSTEM = struct.Struct("<H")
_SUBSYSTEM_AT = 68
_CHECKSUM_AT = 64
_DIRECTORY = struct.Struct("<II")
_DIRECTORIES_AT = {0x10B: 96, 0x20B: 112}
_BITS = {0x10B: 32, 0x20B: 64}
_RESOURCES, _CERTIFICATES = 2, 4
_SYMBOL_SIZE = 18
SECTION_LIMIT = 64 << 10
MACHINES = {
    0x014C: "IA32",
    0x0200: "IA64",
    0x01C0: "ARM",
    0x01C2: "ARM",
    0x01C4: "ARM",
    0x0EBC: "EBC",
    0x5032: "RISCV32",
    0x5064: "RISCV64",
    0x5128: "RISCV128",
    0x6232: "LOONGARCH32",
    0x6264: "LOONGARCH64",
    0x8664: "X64",
    0xAA64: "AA64",
}
SUBSYSTEM_APPLICATION, SUBSYSTEM_BOOT_DRIVER, SUBSYSTEM_RUNTIME_DRIVER = 10, 11, 12


@dataclass(frozen=True, slots=True)
class Image:
    """What the headers say. Sizes in bytes: `declared_size` is the end of the last section or certificate
    table, `real_size` the file's. `subsystem` is 0 when the headers are cut off before it; `bits` is 32 for
    PE32, 64 for PE32+, 0 for neither.

    The texts in sections are read when they are asked for, from the reader that was handed in.
    """

    machine: int
    subsystem: int
    sections: tuple[Section, ...]
    declared_size: int
    real_size: int
    version_info: dict[str, str]
    bits: int
    source: Source = field(repr=False, compare=False)
    problems: list[str] = field(default_factory=list)
    layout: Layout = field(default_factory=Layout, repr=False)

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
        """Read a whole file's bytes. FormatError when they are no PE image.

        >>> Image.parse(b"#!/bin/sh")
        Traceback (most recent call last):
        bootwatch.formats.FormatError: no EFI program: it does not begin with MZ
        """
        return cls.read(io.BytesIO(data))

    @classmethod
    def read(cls, reader: Reader) -> "Image":
        """Read the headers of a file. FormatError when it is no PE image; OSError passes through.

        >>> dos = b"MZ" + bytes(58) + (64).to_bytes(4, "little")
        >>> coff = b"PE" + bytes(2) + (0xAA64).to_bytes(2, "little") + bytes(18)
        >>> Image.read(io.BytesIO(dos + coff)).machine_name
        'AA64'
        """
        return _HeaderReader(Source(reader)).image()

    def section(self, name: str, limit: int = SECTION_LIMIT) -> bytes | None:
        """The content of the first section of that name; None when there is none.

        TooLarge beyond `limit` bytes; FormatError where the file ends before it; OSError passes through.
        """
        for section in self.sections:
            if section.name == name:
                return self._content(section, limit)
        return None

    def _content(self, section: Section, limit: int) -> bytes:
        size = section.content_size
        if size > limit:
            raise TooLarge(f"section {section.name}: {size} bytes, more than the limit of {limit}")
        data = self.source.read(section.raw_offset, size)
        if len(data) < size:
            raise FormatError(
                f"section {section.name} at byte {section.raw_offset}: "
                f"only {len(data)} of its {size} bytes are in the file"
            )
        return data

    def text(self, name: str, limit: int = SECTION_LIMIT) -> str | None:
        """A section's text in UTF-8, up to its first NUL and without blanks around it. Fails as `section`
        does; bytes that are not UTF-8 become U+FFFD.
        """
        data = self.section(name, limit)
        return None if data is None else data.split(b"\0", 1)[0].decode("utf-8", "replace").strip()

    def os_release(self) -> dict[str, str]:
        """What a unified kernel image's `.osrel` says of its system, by name; {} without one. Fails as
        `section` does.
        """
        return os_release.parse(self.text(".osrel") or "")

    def vendor(self) -> str:
        """Who built it, by its `.sbat`; "" where that isn't said. Fails as `section` does."""
        return sbat.vendor(self.text(".sbat") or "")

    @property
    def sbat(self) -> SbatEntries:
        """What its `.sbat` says of its parts; none without one. Fails as `section` does."""
        return sbat.parse(self.text(".sbat") or "")

    @property
    def authenticode_sha256(self) -> bytes:
        """The digest that Secure Boot knows it by. Fails as `authenticode` does."""
        return self.authenticode("sha256")

    def authenticode(self, algorithm: str) -> bytes:
        """The same by one of hashlib's algorithms, in chunks. FormatError where no firmware could make it;
        OSError passes through."""
        return pe_digest.digest(self.source, self.layout, self.sections, algorithm)

    @property
    def is_signed(self) -> bool:
        """Whether its headers name a certificate table, whatever that holds."""
        return self.layout.certificates[1] > 0

    @property
    def signatures(self) -> Signatures:
        """The entries of its certificate table, and what is wrong with it. TooLarge beyond all need; OSError
        passes through."""
        return pe_signatures.read(self.source, self.layout.certificates)

    def uname(self) -> str | None:
        """The kernel's release, from `.uname`. Fails as `section` does."""
        return self.text(".uname")

    def cmdline(self) -> str | None:
        """The kernel's command line, from `.cmdline`. Fails as `section` does."""
        return self.text(".cmdline")


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
        table_at = optional_at + optional_size
        strings_at = symbols + symbol_count * _SYMBOL_SIZE if symbols else 0
        sections = pe_sections.read(self._source, table_at, count, strings_at, self.problems)
        directories = self._directories(optional, optional_at)
        headers_end = table_at + count * pe_sections.SIZE
        self.problems += pe_sections.check(sections, headers_end, self._source.size)
        version = self._version(sections, directories.get(_RESOURCES, (0, 0)))
        certificates = directories.get(_CERTIFICATES, (0, 0))
        headers_size = self._field(optional, _HEADERS_SIZE, _HEADERS_SIZE_AT)
        declared = self._declared(sections, max(headers_end, headers_size), certificates)
        subsystem = self._field(optional, _SUBSYSTEM, _SUBSYSTEM_AT)
        bits = _BITS.get(self._field(optional, _MAGIC, 0), 0)
        layout = self._layout(optional, optional_at, directories, count > len(sections))
        return Image(
            machine,
            subsystem,
            sections,
            declared,
            self._source.size,
            version,
            bits,
            self._source,
            self._worst_problems(declared),
            layout,
        )

    def _layout(
        self, optional: bytes, at: int, directories: dict[int, tuple[int, int]], is_cut: bool
    ) -> Layout:
        """What a digest goes by."""
        headers_size = self._field(optional, _HEADERS_SIZE, _HEADERS_SIZE_AT)
        start = _DIRECTORIES_AT.get(self._field(optional, _MAGIC, 0), 0)
        named = self._field(optional, _HEADERS_SIZE, start - 4) if start else 0
        fault = ""
        if not start or len(optional) < start:
            fault = "its optional header is of no known kind, or cut off"
        elif named > len(directories) or is_cut:
            fault = "its headers are cut off"
        entry = at + start + _CERTIFICATES * _DIRECTORY.size if _CERTIFICATES in directories else 0
        place = directories.get(_CERTIFICATES, (0, 0))
        return Layout(headers_size, at + _CHECKSUM_AT, entry, place if place[1] else (0, 0), fault)

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
        count = self._field(optional, _HEADERS_SIZE, start - 4)
        there = max(0, (len(optional) - start) // _DIRECTORY.size)
        if count > there:
            self.problems.append(
                f"optional header at byte {at}: {count} data directories, but room for {there}"
            )
        return {
            index: _DIRECTORY.unpack_from(optional, start + index * _DIRECTORY.size)
            for index in range(min(count, there))
        }

    def _declared(self, sections: tuple[Section, ...], headers: int, certificates: tuple[int, int]) -> int:
        """Where the file ends by its headers."""
        return max(
            headers,
            *(section.raw_end for section in sections),
            sum(certificates) if all(certificates) else 0,
        )

    def _worst_problems(self, declared: int) -> list[str]:
        """Bounded, whatever the file holds; a cut is always said, and last."""
        problems = bounded(self.problems)
        if declared > self._source.size:
            problems.append(
                f"truncated: the headers declare {declared} bytes, the file has {self._source.size}"
            )
        return problems

    def _version(self, sections: tuple[Section, ...], directory: tuple[int, int]) -> dict[str, str]:
        """The strings of the version resource, wherever a section's bytes in the file hold it."""
        address, size = directory
        if not address:
            return {}
        tree = self._at_address(sections, address, min(size, pe_version.MAX_TREE))
        try:
            leaf = pe_version.find(tree)
        except FormatError as error:
            self.problems.append(f"resources at address {address:#x}: {error}")
            return {}
        if leaf is None:
            return {}
        block = self._at_address(sections, leaf[0], min(leaf[1], pe_version.MAX_BLOCK))
        found, whole = pe_version.strings(block)
        if not whole:
            self.problems.append(f"version resource at address {leaf[0]:#x}: damaged or cut off")
        return found

    def _at_address(self, sections: tuple[Section, ...], address: int, length: int) -> bytes:
        """What gets loaded at `address`, as far as the file holds it."""
        for section in sections:
            inside = address - section.address
            if 0 <= inside < section.raw_size:
                return self._source.read(section.raw_offset + inside, min(length, section.raw_size - inside))
        return b""


__all__ = [
    "MACHINES",
    "SECTION_LIMIT",
    "AttributeCertificate",
    "Image",
    "SbatEntry",
    "Section",
    "Signatures",
]
