"""Signature databases against virt-firmware, which builds and reads them by itself."""

import base64
import importlib.resources
import struct
import uuid

import pytest
from virt.firmware.efi import guids, siglist

from bootwatch.formats import FormatError
from bootwatch.formats.signature_list import (
    MAX_LISTS,
    MAX_SIGNATURES,
    SHA256,
    TYPES,
    X509,
    Signature,
    SignatureList,
    parse,
)

OWNER = uuid.UUID("f0000000-0000-4000-8000-0000000000aa")
OTHER = uuid.UUID("0a000000-0000-4000-8000-0000000000bb")
HASHES = [bytes([number]) * 32 for number in range(1, 5)]


def certificates() -> list[bytes]:
    """Real certificates, as DER, that virt-firmware brings along."""
    folder = importlib.resources.files("virt.firmware").joinpath("certs")
    texts = sorted(
        file.read_text()
        for vendor in folder.iterdir()
        if vendor.is_dir()
        for file in vendor.iterdir()
        if file.name.endswith(".pem")
    )
    bodies = ["".join(text.split("-----")[2].split()) for text in texts]
    return [base64.b64decode(body) for body in bodies]


def built(kind: uuid.UUID, signatures: list[tuple[uuid.UUID, bytes]]) -> bytes:
    theirs = siglist.EfiSigList(guid=str(kind))
    for owner, data in signatures:
        theirs.add_sig(owner, data)
    return bytes(theirs)


def raw_list(kind: uuid.UUID, size: int, header: int, each: int, rest: bytes) -> bytes:
    return kind.bytes_le + struct.pack("<III", size, header, each) + rest


HASH_LIST = built(SHA256, [(OWNER, HASHES[0]), (OTHER, HASHES[1])])


def seen_by_virt_firmware(data: bytes) -> list[SignatureList]:
    return [
        SignatureList(
            uuid.UUID(str(item.guid)),
            [Signature(uuid.UUID(str(entry["guid"])), entry["data"]) for entry in item],
        )
        for item in siglist.EfiSigDB(data)
    ]


def test_reads_what_virt_firmware_builds() -> None:
    real = certificates()
    assert len(real) > 10
    parts = [built(X509, [(OWNER, certificate)]) for certificate in real]
    data = b"".join([HASH_LIST, *parts, built(SHA256, [(OTHER, HASHES[2])])])
    lists = parse(data)
    assert lists == seen_by_virt_firmware(data)
    assert [item.type_name for item in lists] == ["SHA256", *["X509"] * len(real), "SHA256"]
    assert [item.signatures[0].data for item in lists[1:-1]] == real
    assert lists[0].signatures == [Signature(OWNER, HASHES[0]), Signature(OTHER, HASHES[1])]
    assert lists.problems == []
    assert bytes(lists) == data


@pytest.mark.parametrize("kind", TYPES, ids=lambda kind: TYPES[kind].name)
def test_every_type_of_the_standard_has_a_name_and_a_size(kind: uuid.UUID) -> None:
    size = (TYPES[kind].sizes or (40,))[0]
    content = b"\x30" + bytes(size - 1)
    lists = parse(built(kind, [(OWNER, content)]))
    assert lists[0].type == kind
    assert lists[0].type_name == TYPES[kind].name
    assert lists.problems == []
    if TYPES[kind].sizes:
        assert "bytes of data" in parse(built(kind, [(OWNER, content + b"\0")])).problems[0]


def test_the_names_are_those_that_virt_firmware_knows() -> None:
    for theirs, name in ((guids.EfiCertX509, "X509"), (guids.EfiCertSha256, "SHA256")):
        assert TYPES[uuid.UUID(theirs)].name == name
    assert TYPES[uuid.UUID(guids.EfiCertExternalMgmt)].name == "EXTERNAL_MANAGEMENT"
    assert len(TYPES) == 15


def test_an_empty_database_has_no_lists() -> None:
    assert parse(b"") == []
    assert parse(b"").problems == []


def test_unknown_types_are_kept_whole() -> None:
    lists = parse(raw_list(OWNER, 28 + 3 + 20, 3, 20, b"abc" + OTHER.bytes_le + b"data"))
    assert lists == [SignatureList(OWNER, [Signature(OTHER, b"data")], b"abc")]
    assert lists[0].type_name is None
    assert lists.problems == []


def test_duplicates_stay() -> None:
    lists = parse(HASH_LIST + HASH_LIST)
    assert lists == [lists[0], lists[0]]


def test_version_records_among_hashes_can_be_told_apart() -> None:
    record = b"\x01" + OTHER.bytes_le + struct.pack("<HH", 0, 7) + bytes(11)
    lists = parse(built(SHA256, [(OWNER, record), (OWNER, HASHES[0])]))
    assert [signature.is_version_record for signature in lists[0].signatures] == [True, False]
    assert lists.problems == []


def test_pem_text_in_place_of_a_certificate_is_named_and_kept() -> None:
    text = b"-----BEGIN CERTIFICATE-----\nMIIB\n"
    lists = parse(built(X509, [(OWNER, text)]))
    assert lists[0].signatures == [Signature(OWNER, text)]
    assert lists.problems == ["list at byte 0: PEM text where a DER certificate belongs"]


@pytest.mark.parametrize("length", range(1, 28))
def test_less_than_a_header_says_nothing(length: int) -> None:
    with pytest.raises(FormatError, match=f"this has {length}"):
        parse(HASH_LIST[:length])


@pytest.mark.parametrize(
    ("data", "signatures", "what"),
    [
        (HASH_LIST[:-1], 1, "list at byte 0: 124 bytes long, but only 123 are left"),
        (HASH_LIST[:-1], 1, "its last 47 bytes are no whole signature of 48 bytes"),
        (HASH_LIST + b"\0" * 5, 2, "5 bytes at byte 124 are too few for a list"),
        (HASH_LIST + raw_list(SHA256, 0, 0, 48, b""), 2, "list at byte 124: a size of 0 bytes cannot be"),
        (raw_list(SHA256, 27, 0, 48, bytes(48)), 0, "list at byte 0: a size of 27 bytes cannot be"),
        (raw_list(SHA256, 76, 0, 0, bytes(48)), 0, "list at byte 0: signatures of 0 bytes cannot be"),
        (raw_list(SHA256, 76, 0, 15, bytes(48)), 0, "list at byte 0: signatures of 15 bytes cannot be"),
        (raw_list(SHA256, 76, 49, 48, bytes(48)), 0, "its header of 49 bytes does not fit"),
        (raw_list(SHA256, 76, 0xFFFFFFFF, 48, bytes(48)), 0, "its header of 4294967295 bytes does not fit"),
        (raw_list(SHA256, 0xFFFFFFFF, 0, 48, bytes(48)), 1, "4294967295 bytes long, but only 76 are left"),
        (raw_list(SHA256, 77, 1, 48, bytes(49)), 1, "a SHA256 list has no header"),
        (raw_list(SHA256, 76, 0, 0xFFFFFFFF, bytes(48)), 0, "no whole signature of 4294967295 bytes"),
        (raw_list(X509, 76, 0, 48, bytes(48)), 1, "no certificate where a DER certificate belongs"),
    ],
)
def test_damage_is_a_value(data: bytes, signatures: int, what: str) -> None:
    lists = parse(data)
    assert any(what in problem for problem in lists.problems), lists.problems
    assert sum(len(item.signatures) for item in lists) == signatures
    assert bytes(lists) == data


def test_what_follows_a_damaged_list_is_still_read_where_its_size_is_right() -> None:
    lists = parse(raw_list(SHA256, 76, 0, 0, bytes(48)) + HASH_LIST)
    assert [len(item.signatures) for item in lists] == [0, 2]


def test_a_list_without_signatures_is_well_formed() -> None:
    for each in (0, 48):
        lists = parse(raw_list(SHA256, 28, 0, each, b""))
        assert lists == [SignatureList(SHA256, [])]
        assert lists.problems == []


def test_there_is_an_end_to_what_is_looked_at() -> None:
    lists = parse(raw_list(OWNER, 28, 0, 16, b"") * (MAX_LISTS + 1))
    assert len(lists) == MAX_LISTS
    assert "too many signatures" in lists.problems[0]
    count = MAX_SIGNATURES + 3
    lists = parse(raw_list(OWNER, 28 + 16 * count, 0, 16, bytes(16 * count)) + HASH_LIST)
    assert len(lists) == 1
    assert len(lists[0].signatures) == MAX_SIGNATURES
    assert len(lists.problems) == 2
