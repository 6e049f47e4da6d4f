"""PE headers of programs that clang and lld built, against llvm-readobj's record and pefile."""

import io
import re
import struct
from pathlib import Path

import pefile
import pytest

from bootwatch.formats import FormatError
from bootwatch.formats.pe import Image

from .tools import SAMPLES, FailingReader

PROGRAMS = sorted(SAMPLES.glob("*.efi"))
X64 = (SAMPLES / "x64.efi").read_bytes()
NAMES = {"x64": "X64", "ia32": "IA32", "aa64": "AA64", "arm": "ARM"}
PE = X64.index(b"PE\0\0")
COFF_SIZE = 24


def changed(offset: int, data: bytes) -> bytes:
    return X64[:offset] + data + X64[offset + len(data) :]


def number(text: str, name: str) -> int:
    found = re.search(rf"^\s*{name}: (?:\S+ \()?(0x[0-9A-F]+|\d+)\)?$", text, re.MULTILINE)
    assert found is not None
    return int(found[1], 0)


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda path: path.stem)
def test_agrees_with_readobj(program: Path) -> None:
    record = program.with_suffix(".readobj").read_text(encoding="utf-8")
    head, *sections = record.split("  Section {")
    with program.open("rb") as file:
        image = Image.read(file)
    assert image.machine == number(head, "Machine")
    assert image.subsystem == number(head, "Subsystem")
    assert len(image.sections) == number(head, "SectionCount") == len(sections)
    for ours, theirs in zip(image.sections, sections, strict=True):
        name = re.search(r"Name: (\S+)", theirs)
        assert name is not None
        assert ours.name == name[1]
        assert ours.address == number(theirs, "VirtualAddress")
        assert ours.size == number(theirs, "VirtualSize")
        assert ours.raw_size == number(theirs, "RawDataSize")
        assert ours.raw_offset == number(theirs, "PointerToRawData")
    assert image.machine_name == NAMES[program.stem.rsplit("-", 1)[-1]]
    assert f"({image.bits}bit)" in head.replace("AddressSize: ", "(").replace("bit\n", "bit)\n")
    assert image.problems == []
    assert not image.truncated
    assert image.real_size == program.stat().st_size


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda path: path.stem)
def test_declared_size_agrees_with_pefile(program: Path) -> None:
    theirs = pefile.PE(str(program))
    end = theirs.get_overlay_data_start_offset() or program.stat().st_size
    assert Image.parse(program.read_bytes()).declared_size == end


def test_version_strings_agree_with_pefile() -> None:
    program = SAMPLES / "version-x64.efi"
    strings = {
        key.decode(): value.decode()
        for info in pefile.PE(str(program)).FileInfo[0]
        for table in getattr(info, "StringTable", [])
        for key, value in table.entries.items()
    }
    assert Image.parse(program.read_bytes()).version_info == strings
    assert strings["FileDescription"] == "Quarry's loader \N{EM DASH} odd"
    assert len(strings) == 5


def test_no_version_resource() -> None:
    assert Image.parse(X64).version_info == {}


@pytest.mark.parametrize("cut", [1, 512, len(X64) - 1024, len(X64) - 600])
def test_truncated(cut: int) -> None:
    image = Image.parse(X64[:-cut])
    assert image.truncated
    assert (image.machine, image.subsystem) == (0x8664, 10)
    assert image.problems[-1] == (
        f"truncated: the headers declare {len(X64)} bytes, the file has {len(X64) - cut}"
    )


def test_longer_than_declared_is_not_truncated() -> None:
    image = Image.parse(X64 + bytes(1000))
    assert (image.truncated, image.problems) == (False, [])
    assert image.real_size - image.declared_size == 1000


def test_a_certificate_table_belongs_to_the_file() -> None:
    signed = pefile.PE(data=X64)
    directory = signed.OPTIONAL_HEADER.DATA_DIRECTORY[4]
    directory.VirtualAddress, directory.Size = len(X64), 16
    data = bytes(signed.write()) + struct.pack("<IHH", 16, 0x0200, 2) + bytes(8)
    assert Image.parse(data).declared_size == len(X64) + 16
    assert not Image.parse(data).truncated
    assert Image.parse(data[:-1]).truncated


@pytest.mark.parametrize("size", [0, 1, 2, 63])
def test_hardly_a_beginning(size: int) -> None:
    with pytest.raises(FormatError):
        Image.parse(X64[:size])


@pytest.mark.parametrize(
    "data",
    [
        b"\x7fELF" + bytes(100),
        b"#!/bin/sh\n" * 20,
        b"MZ" + bytes(200),
        changed(60, b"\xff\xff\xff\xff"),
        changed(PE, b"NE\0\0"),
        X64[: PE + COFF_SIZE - 1],
    ],
)
def test_other_files(data: bytes) -> None:
    with pytest.raises(FormatError):
        Image.parse(data)


def test_a_cut_optional_header_still_names_the_machine() -> None:
    image = Image.parse(X64[: PE + COFF_SIZE + 40])
    assert (image.machine_name, image.subsystem, image.truncated) == ("X64", 0, True)
    assert "optional header" in " ".join(image.problems)


@pytest.mark.parametrize(
    ("offset", "data"),
    [
        (PE + 6, b"\xff\xff"),  # number of sections
        (PE + 12, b"\xff\xff\xff\x7f\xff\xff\xff\x7f"),  # symbol table
        (PE + 20, b"\xff\xff"),  # size of the optional header
        (PE + COFF_SIZE, b"\x07\x01"),  # kind of the optional header
        (PE + COFF_SIZE + 108, b"\xff\xff\xff\xff"),  # number of data directories
        (PE + COFF_SIZE + 112 + 16, b"\xff\xff\xff\xff" * 2),  # resources
        (PE + COFF_SIZE + 112 + 32, b"\xff\xff\xff\xff" * 2),  # certificates
    ],
)
def test_absurd_numbers_are_survived(offset: int, data: bytes) -> None:
    image = Image.parse(changed(offset, data))
    assert image.machine == 0x8664


@pytest.mark.parametrize(
    ("machine", "name"), [("IA64", "IA64"), ("RISCV64", "RISCV64"), ("EBC", "EBC"), ("ARMNT", "ARM")]
)
def test_machines_by_their_published_numbers(machine: str, name: str) -> None:
    number = pefile.MACHINE_TYPE[f"IMAGE_FILE_MACHINE_{machine}"]
    assert Image.parse(changed(PE + 4, struct.pack("<H", number))).machine_name == name


def test_a_machine_that_uefi_does_not_name() -> None:
    assert Image.parse(changed(PE + 4, b"\x34\x12")).machine_name == "0x1234"


def test_only_headers_are_read() -> None:
    class Counting(io.BytesIO):
        total = 0

        def read(self, size: int | None = -1, /) -> bytes:
            data = super().read(size)
            self.total += len(data)
            return data

    reader = Counting(X64 + bytes(32 << 20))
    Image.read(reader)
    assert reader.total < 4096


def test_a_read_error_passes_through(tmp_path: Path) -> None:
    program = tmp_path / "program"
    program.write_bytes(X64)
    reader = FailingReader(program, 100)
    with pytest.raises(OSError, match="Input/output error"):
        Image.read(reader)
    reader.close()
