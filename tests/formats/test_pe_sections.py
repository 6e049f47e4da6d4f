"""Sections of EFI programs, and the texts of unified kernel images, against pefile; each fault is named."""

import io
import struct
import tracemalloc
from pathlib import Path

import pefile
import pytest

from bootwatch.formats import FormatError, TooLarge
from bootwatch.formats.pe import Image

from .tools import SAMPLES

UNIFIED = (SAMPLES / "unified-x64.efi").read_bytes()
LONG_NAME = (SAMPLES / "long-section-name-x64.efi").read_bytes()
VERSION = (SAMPLES / "version-x64.efi").read_bytes()
HEADER = pefile.PE(data=UNIFIED, fast_load=True).DOS_HEADER.e_lfanew
# Offsets within a section's 40 bytes.
SIZE, ADDRESS, RAW_SIZE, RAW_OFFSET = 8, 12, 16, 20


def header_of(data: bytes, name: str) -> int:
    """Where the header of a section is, by pefile."""
    sections = pefile.PE(data=data, fast_load=True).sections
    return int(next(one.get_file_offset() for one in sections if one.Name.rstrip(b"\0") == name.encode()))


def put(data: bytes, offset: int, value: bytes) -> bytes:
    return data[:offset] + value + data[offset + len(value) :]


def with_field(data: bytes, name: str, field: int, value: int) -> bytes:
    return put(data, header_of(data, name) + field, struct.pack("<I", value))


class CountingReader(io.RawIOBase):
    """A program of any size: given bytes, then nothing but zeros; counts what is read of it."""

    def __init__(self, data: bytes, size: int) -> None:
        super().__init__()
        self._data, self._size, self._at = data, size, 0
        self.total = 0

    def seek(self, offset: int, whence: int = 0, /) -> int:
        self._at = offset + (0, self._at, self._size)[whence]
        return self._at

    def read(self, size: int = -1, /) -> bytes:
        size = min(size if size >= 0 else self._size, self._size - self._at)
        found = self._data[self._at : self._at + size].ljust(size, b"\0")
        self._at += size
        self.total += size
        return found


@pytest.mark.parametrize("name", [".text", ".osrel", ".cmdline", ".uname", ".linux"])
def test_content_agrees_with_pefile(name: str) -> None:
    theirs = {one.Name.rstrip(b"\0").decode(): one for one in pefile.PE(data=UNIFIED).sections}[name]
    ours = Image.parse(UNIFIED).section(name)
    assert ours == theirs.get_data()[: theirs.Misc_VirtualSize]
    assert ours


def test_texts_of_a_unified_kernel_image() -> None:
    image = Image.parse(UNIFIED)
    assert image.uname() == "6.9.4-fernwick1"
    assert image.cmdline() == "root=LABEL=fernwick ro quiet"
    assert image.os_release()["PRETTY_NAME"] == 'Fernwick Linux 7 "Heather"'
    assert image.text(".linux") == "\n".join(map(str, range(1, 501)))


def test_a_program_without_such_texts() -> None:
    image = Image.parse(VERSION)
    assert (image.section(".osrel"), image.text(".uname"), image.os_release()) == (None, None, {})


def test_a_section_beyond_the_limit() -> None:
    image = Image.parse(UNIFIED)
    with pytest.raises(TooLarge, match=r"section \.linux: 1892 bytes, more than the limit of 1891"):
        image.section(".linux", 1891)
    assert len(image.section(".linux", 1892) or b"") == 1892


def test_a_section_that_is_cut_off() -> None:
    image = Image.parse(UNIFIED[:-1000])
    with pytest.raises(FormatError, match=r"section \.linux at byte 4096: only 1048 of its 1892 bytes"):
        image.section(".linux")
    assert image.uname() == "6.9.4-fernwick1"
    assert image.problems == [
        "section .linux at byte 4096: 1000 of its 2048 bytes lie beyond the file's end",
        "truncated: the headers declare 6144 bytes, the file has 5144",
    ]


def test_bytes_that_are_no_text() -> None:
    at = UNIFIED.index(b"6.9.4-fernwick1")
    assert Image.parse(put(UNIFIED, at, b"\xff\xfe")).uname() == "\ufffd\ufffd9.4-fernwick1"


FAULTS = {
    "sections-overlap-in-the-file": (
        with_field(UNIFIED, ".uname", RAW_OFFSET, 3072),
        ["section .uname overlaps section .cmdline in the file, at 0xc00"],
    ),
    "sections-overlap-in-memory": (
        with_field(UNIFIED, ".uname", ADDRESS, 0x20010),
        ["section .uname overlaps section .cmdline in memory, at 0x20010"],
    ),
    "section-within-the-headers": (
        with_field(UNIFIED, ".uname", RAW_OFFSET, 64),
        ["section .uname: begins at byte 64, within the headers"],
    ),
    "section-far-beyond-the-end": (
        with_field(UNIFIED, ".linux", RAW_OFFSET, 0xFFFFFE00),
        [
            "section .linux at byte 4294966784: 2048 of its 2048 bytes lie beyond",
            "truncated: the headers declare",
        ],
    ),
    "section-of-4-gib": (
        with_field(UNIFIED, ".linux", RAW_SIZE, 0xFFFFFFFF),
        ["4294965247 of its 4294967295 bytes lie beyond the file's end", "truncated: the headers declare"],
    ),
    "long-name-outside-the-strings": (
        put(LONG_NAME, LONG_NAME.index(b"/18\0"), b"/9999999"),
        ["section /9999999: its long name is not in the string table at byte"],
    ),
    "long-name-within-the-strings-size": (
        put(LONG_NAME, LONG_NAME.index(b"/18\0"), b"/3\0"),
        ["section /3: its long name is not in the string table at byte"],
    ),
    "more-directories-than-room": (
        put(UNIFIED, HEADER + 24 + 108, b"\xff\xff\xff\xff"),
        ["4294967295 data directories, but room for 16"],
    ),
    "resources-in-no-section": (
        put(VERSION, VERSION.index(b"PE\0\0") + 24 + 112 + 16, struct.pack("<I", 0x7000000)),
        ["resources at address 0x7000000: the resource directory at offset 0x0 is cut off"],
    ),
    "resources-in-a-circle": (
        put(VERSION, VERSION.index(bytes.fromhex("10000000 18000080")) + 4, struct.pack("<I", 0x80000000)),
        ["resources at address 0x4000: the version resource's leaf at offset 0x80000000 is not in"],
    ),
    "version-resource-cut-off": (
        put(VERSION, VERSION.index("VS_VERSION_INFO".encode("utf-16-le")) - 6, b"\xff\xff"),
        ["version resource at address 0x4060: damaged or cut off"],
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_named(fault: str) -> None:
    data, words = FAULTS[fault]
    image = Image.parse(data)
    assert len(image.problems) == len(words), image.problems
    for word, problem in zip(words, image.problems, strict=True):
        assert word in problem
    assert image.machine_name == "X64"


def test_sections_without_content_overlap_nothing() -> None:
    assert Image.parse(with_field(UNIFIED, ".uname", RAW_SIZE, 0)).problems == []


def test_more_sections_than_are_looked_at() -> None:
    image = Image.parse(put(UNIFIED, HEADER + 6, b"\xff\xff") + bytes(4 << 20))
    assert len(image.sections) == 4096
    assert "65535 sections, of which 4096 are looked at" in image.problems[0]
    assert len(image.problems) <= 66


def test_a_version_resource_far_behind_the_tree() -> None:
    """Pictures of a megabyte lie between a real program's resource tree and its version."""
    theirs = pefile.PE(data=VERSION)
    leaf = theirs.DIRECTORY_ENTRY_RESOURCE.entries[0].directory.entries[0].directory.entries[0].data.struct
    resources = theirs.sections[-1]
    block = theirs.get_data(leaf.OffsetToData, leaf.Size)
    far = 3 << 20
    size = far + len(block)
    data = with_field(with_field(VERSION, ".rsrc", RAW_SIZE, size), ".rsrc", SIZE, size)
    data = put(data, leaf.get_file_offset(), struct.pack("<I", resources.VirtualAddress + far))
    data = data[: resources.PointerToRawData + resources.SizeOfRawData].ljust(
        resources.PointerToRawData + far, b"\0"
    )
    image = Image.parse(data + block)
    assert image.version_info == Image.parse(VERSION).version_info
    assert len(image.version_info) == 5


@pytest.mark.parametrize(("program", "most"), [(UNIFIED, 4096), (VERSION, 8192)])
def test_facts_of_a_file_of_500_mb_need_only_its_headers(program: bytes, most: int) -> None:
    last = pefile.PE(data=program).sections[-1]
    size = 500 << 20
    grown = put(program, last.get_file_offset() + RAW_SIZE, struct.pack("<I", size - last.PointerToRawData))
    reader = CountingReader(grown, size)
    tracemalloc.start()
    image = Image.read(reader)
    facts = image.os_release(), image.uname(), image.cmdline(), image.version_info
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert any(facts)
    assert (image.problems, image.truncated, image.declared_size) == ([], False, size)
    assert reader.total < most
    assert peak < 1 << 20


def test_a_real_read_of_a_sparse_file(tmp_path: Path) -> None:
    path = tmp_path / "kernel.efi"
    path.write_bytes(UNIFIED)
    with path.open("r+b") as file:
        file.truncate(500 << 20)
    with path.open("rb") as file:
        image = Image.read(file)
        assert image.os_release()["ID"] == "fernwick"
        assert image.real_size - image.declared_size == (500 << 20) - len(UNIFIED)
