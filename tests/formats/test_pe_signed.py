"""Digests and signatures of programs that sbsign signed, against the tools' records and pefile's layout."""

import hashlib
import io
import re
import struct
from contextlib import closing
from pathlib import Path

import pefile
import pytest

from bootwatch.formats import FormatError, TooLarge, shim_keys
from bootwatch.formats.pe import Image
from bootwatch.formats.signed_data import SignedData
from bootwatch.formats.x509 import Certificate

from .tools import SAMPLES, FailingReader

SIGNED = SAMPLES / "signed"
ONCE, TWICE = ((SIGNED / f"{name}.efi").read_bytes() for name in ("once", "twice"))
PLAIN = (SAMPLES / "x64.efi").read_bytes()
DIGEST = bytes.fromhex((SIGNED / "once.sha256").read_text())
AUTHORITY, MIDDLE, LEAF = (
    Certificate.parse((SIGNED / f"{name}.der").read_bytes()) for name in ("authority", "middle", "leaf")
)
DIRECTORY = pefile.PE(data=PLAIN, fast_load=True).OPTIONAL_HEADER.DATA_DIRECTORY[4].get_file_offset()


def changed(data: bytes, offset: int, new: bytes) -> bytes:
    return data[:offset] + new + data[offset + len(new) :]


def table(data: bytes) -> tuple[int, int]:
    return struct.unpack_from("<II", data, DIRECTORY)


def with_table(entries: bytes, size: int | None = None) -> bytes:
    place = struct.pack("<II", len(PLAIN), len(entries) if size is None else size)
    return changed(PLAIN, DIRECTORY, place) + entries


@pytest.mark.parametrize("program", [PLAIN, ONCE, TWICE], ids=["plain", "once", "twice"])
def test_digest_is_what_the_tool_signed(program: bytes) -> None:
    assert Image.parse(program).authenticode_sha256 == DIGEST


@pytest.mark.parametrize("program", sorted(SAMPLES.glob("*.efi")), ids=lambda path: path.stem)
def test_digest_goes_by_sections(program: Path) -> None:
    """PE/COFF 8.3 appendix A over what pefile finds."""
    data = program.read_bytes()
    theirs = pefile.PE(data=data, fast_load=True)
    head = theirs.OPTIONAL_HEADER
    checksum, end = head.get_file_offset() + 64, head.SizeOfHeaders
    entry = head.DATA_DIRECTORY[4].get_file_offset()
    parts = [data[:checksum], data[checksum + 4 : entry], data[entry + 8 : end]]
    runs = sorted((one.PointerToRawData, one.SizeOfRawData) for one in theirs.sections if one.SizeOfRawData)
    parts += [data[start : start + size] for start, size in runs]
    hashed = end + sum(size for _, size in runs)
    whole = b"".join([*parts, data[hashed:]])
    image = Image.parse(data)
    assert image.authenticode_sha256 == hashlib.sha256(whole).digest()
    assert image.authenticode("sha512") == hashlib.sha512(whole).digest()


def test_the_end_is_not_padded() -> None:
    """What lies behind the sections is in it as it is; a checksum isn't."""
    odd = Image.parse(PLAIN + b"end")
    assert odd.authenticode_sha256 != Image.parse(PLAIN + b"end" + bytes(5)).authenticode_sha256
    checksum = pefile.PE(data=PLAIN, fast_load=True).OPTIONAL_HEADER.get_file_offset() + 64
    assert Image.parse(changed(PLAIN, checksum, b"\1\2\3\4")).authenticode_sha256 == DIGEST


def test_gaps_are_in_no_digest() -> None:
    """Bytes between two sections count for nothing, those behind all of them do, at the wrong place."""
    first = PLAIN.index(b".text\0\0\0")
    size, offset = struct.unpack_from("<II", PLAIN, first + 16)
    gap = bytes(512)
    end = offset + size
    moved = bytearray(PLAIN[:end] + gap + PLAIN[end:])
    count = struct.unpack_from("<H", PLAIN, PLAIN.index(b"PE\0\0") + 6)[0]
    for number in range(count):
        at = first + 40 * number + 20
        (place,) = struct.unpack_from("<I", moved, at)
        if place >= end:
            struct.pack_into("<I", moved, at, place + len(gap))
    filled = bytes(moved[:end]) + b"\xff" * 512 + bytes(moved[end + 512 :])
    assert Image.parse(bytes(moved)).authenticode_sha256 == Image.parse(filled).authenticode_sha256


@pytest.mark.parametrize(
    "damaged",
    [
        PLAIN[:-1],
        changed(PLAIN, PLAIN.index(b"PE\0\0") + 24, b"\0\0"),
        changed(PLAIN, PLAIN.index(b"PE\0\0") + 24 + 60, b"\0\0\0\0"),
        changed(PLAIN, PLAIN.index(b"PE\0\0") + 24 + 60, b"\xff\xff\xff\xff"),
        with_table(b"", 1 << 20),
    ],
    ids=["cut off", "of no kind", "no headers", "endless headers", "no room for its table"],
)
def test_no_digest_of_what_contradicts_itself(damaged: bytes) -> None:
    with pytest.raises(FormatError):
        _ = Image.parse(damaged).authenticode_sha256


def test_sections_that_overlap_take_no_time() -> None:
    """Sixty sections, each the whole file."""
    head, sections = PLAIN.index(b"PE\0\0"), PLAIN.index(b".text\0\0\0")
    size = 1 << 16
    one = struct.pack("<8sIIII16x", b".x", size, 4096, size, 0)
    data = changed(changed(PLAIN, head + 6, struct.pack("<H", 60)), sections, one * 60).ljust(size, b"\0")
    with pytest.raises(FormatError, match="don't fit"):
        _ = Image.parse(data).authenticode_sha256


def test_a_read_error_passes_through() -> None:
    with closing(FailingReader(SIGNED / "once.efi", len(ONCE) - 100)) as reader:
        image = Image.read(reader)
        with pytest.raises(OSError, match="error"):
            _ = image.signatures


# the certificate table


def test_entries_of_the_table() -> None:
    once, twice = Image.parse(ONCE).signatures, Image.parse(TWICE).signatures
    assert [(one.type, one.revision) for one in twice] == [(2, 0x200), (2, 0x200)]
    assert once[0] == twice[0]
    assert (once.problems, twice.problems, twice[0].offset) == ([], [], table(ONCE)[0])
    assert not Image.parse(PLAIN).is_signed
    assert Image.parse(PLAIN).signatures == []


@pytest.mark.parametrize(
    ("entries", "size", "count"),
    [
        (struct.pack("<IHH", 24, 0x200, 2) + bytes(16) + bytes(4), None, 1),
        (struct.pack("<IHH", 8, 0x200, 2), None, 0),
        (struct.pack("<IHH", 0, 0, 0) * 4, None, 0),
        (struct.pack("<IHH", 0xFFFFFFFF, 0x200, 2) + bytes(16), None, 0),
        (struct.pack("<IHH", 24, 0x200, 0xEF1) + bytes(16), None, 0),
        (struct.pack("<IHH", 23, 0x200, 2) + bytes(15), None, 1),
        (struct.pack("<IHH", 24, 0x200, 2) + bytes(16), 4096, 1),
    ],
    ids=[
        "four bytes over",
        "nothing in it",
        "zeros",
        "too long",
        "half a GUID",
        "no padding",
        "beyond the end",
    ],
)
def test_damaged_tables_say_so(entries: bytes, size: int | None, count: int) -> None:
    found = Image.parse(with_table(entries, size)).signatures
    assert len(found) == count
    assert found.problems


def test_an_entry_of_a_guid() -> None:
    pkcs7 = bytes.fromhex("9dd2af4adf68ee498aa9347d375665a7")  # UEFI 2.10 §32.2.4
    head = struct.pack("<IHH", 8 + 16 + 8, 0x200, 0xEF1)
    (held,) = Image.parse(with_table(head + pkcs7 + b"contents")).signatures
    assert held.pkcs7 == b"contents"
    (other,) = Image.parse(with_table(head + bytes(16) + b"contents")).signatures
    assert other.pkcs7 is None


def test_more_than_any_program_has() -> None:
    with pytest.raises(TooLarge):
        _ = Image.parse(with_table((struct.pack("<IHH", 16, 0x200, 1) + bytes(8)) * 17)).signatures


# certificates and what they signed


def test_certificates_as_openssl_made_them() -> None:
    names = [one.name for one in (AUTHORITY, MIDDLE, LEAF)]
    assert names == ["authority", "middle", "leaf"]
    assert [one.is_authority for one in (AUTHORITY, MIDDLE, LEAF)] == [True, True, False]
    assert (LEAF.issuer, MIDDLE.issuer) == (MIDDLE.subject, AUTHORITY.subject)
    assert (LEAF.issuer_key_id, MIDDLE.issuer_key_id) == (MIDDLE.key_id, AUTHORITY.key_id)
    assert AUTHORITY.raw == (SIGNED / "authority.der").read_bytes()


def test_signed_data_as_sbverify_lists_it() -> None:
    listed = re.findall(r"subject: /CN=(\w+)", (SIGNED / "twice.txt").read_text())
    held = [SignedData.parse(one.pkcs7 or b"") for one in Image.parse(TWICE).signatures]
    assert [one.name for data in held for one in data.certificates] == listed
    first = held[0]
    assert (first.digest, first.content[-32:]) == ("sha256", DIGEST)
    (signer,) = first.signers
    assert first.certificate_of(signer) == LEAF
    assert signer.message == hashlib.sha256(first.content).digest()


@pytest.mark.parametrize("end", [0, 1, 2, 10, 100, 700, -20])
def test_what_is_cut_off_is_none(end: int) -> None:
    data = Image.parse(ONCE).signatures[0].pkcs7 or b""
    with pytest.raises(FormatError):
        SignedData.parse(data[:end])
    with pytest.raises(FormatError):
        Certificate.parse(AUTHORITY.raw[:end])


def test_keys_that_a_shim_brings() -> None:
    own = AUTHORITY.raw
    section = struct.pack("<IIII", len(own), 0, 16, 16 + len(own)) + own
    takes, refuses = shim_keys.parse(section)
    assert [one.data for listed in takes for one in listed.signatures] == [own]
    assert refuses == []
    with pytest.raises(FormatError):
        shim_keys.parse(section[:-1])


def test_generations_of_its_parts() -> None:
    text = b"sbat,1,SBAT Version,sbat,1,https://example.org/SBAT.md\nloader,3,Makers,loader,2.1,\nbad line\n"
    unified = (SAMPLES / "unified-x64.efi").read_bytes()
    name = unified.index(b".cmdline")
    (offset,) = struct.unpack_from("<I", unified, name + 20)
    (room,) = struct.unpack_from("<I", unified, name + 16)
    data = changed(changed(unified, name, b".sbat\0\0\0"), offset, text.ljust(room, b"\0"))
    data = changed(data, name + 8, struct.pack("<I", len(text)))
    found = Image.read(io.BytesIO(data)).sbat
    assert [(one.component, one.generation, one.vendor) for one in found] == [
        ("sbat", 1, "SBAT Version"),
        ("loader", 3, "Makers"),
    ]
    assert found.problems == ["line 3 names no component and its generation"]
    assert Image.parse(PLAIN).sbat == []
