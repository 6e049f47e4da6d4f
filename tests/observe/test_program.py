"""What is recorded of a program, against what pefile and the texts that went into the samples say."""

from __future__ import annotations

import io

import pefile

from bootwatch.model.volume import Program
from bootwatch.observe.program import read_program
from tests.formats.tools import SAMPLES


def program(name: str) -> Program:
    return read_program(io.BytesIO((SAMPLES / f"{name}.efi").read_bytes()))


def test_sections_of_a_unified_kernel_image() -> None:
    sections = pefile.PE(str(SAMPLES / "unified-x64.efi")).sections
    named = {one.Name.rstrip(b"\0").decode() for one in sections} - {".text", ".data", ".rdata"}
    assert set(program("unified-x64").sections or ()) == named == {".linux", ".osrel", ".cmdline", ".uname"}


def test_an_empty_section_is_none() -> None:
    image = pefile.PE(str(SAMPLES / "unified-x64.efi"))
    for section in image.sections:
        if section.Name.startswith(b".linux"):
            section.SizeOfRawData = 0
    assert ".linux" not in (read_program(io.BytesIO(image.write())).sections or ())


def test_names_of_a_unified_kernel_image() -> None:
    assert program("unified-x64").names == {"os": 'Fernwick Linux 7 "Heather"', "os_id": "fernwick"}


def test_names_in_a_version_resource() -> None:
    assert program("version-x64").names == {
        "product": "Quarry",
        "description": "Quarry's loader \u2014 odd",
        "company": "Quarry Works",
    }


def test_a_program_without_names_or_sections() -> None:
    assert (program("aa64").sections, program("aa64").names) == ((), {})


def test_vendor_in_an_sbat_section() -> None:
    data = (SAMPLES / "unified-x64.efi").read_bytes()
    text = b"root=LABEL=fernwick ro quiet"
    assert data.count(text) == 1 and data.count(b".cmdline") == 1
    data = data.replace(b".cmdline", b".sbat\0\0\0")
    found = read_program(io.BytesIO(data.replace(text, b"a.b,1,Fernwick Linux,a,2,\n\n\n")))
    assert found.names["vendor"] == "Fernwick Linux"
    upstream = read_program(io.BytesIO(data.replace(text, b"ab,1,Fernwick Linux,ab,2,\n\n\n")))
    assert "vendor" not in upstream.names


def test_long_names_are_cut() -> None:
    data = (SAMPLES / "unified-x64.efi").read_bytes()
    at, size = data.index(b"# what it calls itself"), len(data)
    image = data[:at] + b"NAME=" + b"x" * 300 + b"\n#" + data[at + 307 :]
    assert len(image) == size
    assert len(read_program(io.BytesIO(image)).names["os"]) == 200


def test_no_program() -> None:
    found = read_program(io.BytesIO(b"MZ and no more"))
    assert (found.sections, found.names, found.machine) == (None, {}, None)


def test_command_line_of_a_unified_kernel_image() -> None:
    assert program("unified-x64").cmdline == "root=LABEL=fernwick ro quiet"
    assert program("version-x64").cmdline == ""


def test_names_of_other_files() -> None:
    data = (SAMPLES / "aa64.efi").read_bytes() + b"\0%s/boot.cfg\0"
    found = read_program(io.BytesIO(data), data)
    assert found.mentions == ("boot.cfg",)
    assert Program.from_json(found.to_json()) == found
    assert program("aa64").mentions is None
    unified = (SAMPLES / "unified-x64.efi").read_bytes()
    assert read_program(io.BytesIO(unified), unified).mentions is None


def test_comes_back_from_json_also_an_older_one() -> None:
    for name in ("unified-x64", "version-x64", "aa64"):
        assert Program.from_json(program(name).to_json()) == program(name)
    old = {"machine": 0x8664, "subsystem": 10, "declared_size": 9, "problems": []}
    assert Program.from_json(old) == Program(0x8664, 10, 9)
    assert Program.from_json(old).to_json() == old
