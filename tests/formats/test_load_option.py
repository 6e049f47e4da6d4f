"""Load options against virt-firmware, which builds and reads them by itself."""

import json
import struct
import uuid

import pytest
from virt.firmware.efi import bootentry, devpath, ucs16

from bootwatch.formats import FormatError
from bootwatch.formats.load_option import ACTIVE, CATEGORY_APPLICATION, CATEGORY_BOOT, HIDDEN, LoadOption

from .tools import SAMPLES

RECORDED = json.loads((SAMPLES / "device_path_text.json").read_text(encoding="utf-8"))["paths"]
PATH = bytes.fromhex(RECORDED["hd-file"]["bytes"])


def option(path: bytes = PATH, text: str = "Fernwick Linux", data: bytes = b"", attributes: int = 1) -> bytes:
    head = struct.pack("<IH", attributes, len(path))
    return head + text.encode("utf-16-le") + b"\0\0" + path + data


@pytest.mark.parametrize("title", ["Fernwick Linux", "", "Quarry – süd", "Tarn Rescue \U0001f6df"])
@pytest.mark.parametrize("data", [None, b"QY", b"odd", bytes(range(256))])
@pytest.mark.parametrize("attributes", [0x1, 0x9, 0x101, 0x108, 0x0A, 0x80000001])
def test_reads_what_virt_firmware_builds(title: str, data: bytes | None, attributes: int) -> None:
    theirs = bootentry.BootEntry(
        attr=attributes, title=ucs16.from_string(title), devicepath=devpath.DevicePath(PATH), optdata=data
    )
    if not title:
        theirs.title = ucs16.from_string("")
    ours = LoadOption.parse(bytes(theirs))
    assert ours.description == title
    assert ours.attributes == attributes
    assert ours.optional_data == (data or b"")
    assert bytes(ours.path) == PATH
    assert ours.problems == []
    assert bytes(ours) == bytes(theirs)


@pytest.mark.parametrize("name", RECORDED)
def test_virt_firmware_reads_the_same(name: str) -> None:
    raw = option(bytes.fromhex(RECORDED[name]["bytes"]), data=b"\x7f\xff\x04\x00data")
    theirs = bootentry.BootEntry(raw)
    ours = LoadOption.parse(raw)
    assert (ours.attributes, ours.description, ours.optional_data) == (
        theirs.attr,
        str(theirs.title),
        theirs.optdata,
    )


def test_attributes_by_name() -> None:
    plain = LoadOption.parse(option(attributes=ACTIVE))
    assert (plain.active, plain.hidden, plain.category) == (True, False, CATEGORY_BOOT)
    other = LoadOption.parse(option(attributes=HIDDEN | CATEGORY_APPLICATION))
    assert (other.active, other.hidden, other.category) == (False, True, CATEGORY_APPLICATION)


@pytest.mark.parametrize(
    ("attributes", "names"),
    [
        (0, ["CATEGORY_BOOT"]),
        (0x1, ["ACTIVE", "CATEGORY_BOOT"]),
        (0xB, ["ACTIVE", "FORCE_RECONNECT", "HIDDEN", "CATEGORY_BOOT"]),
        (0x109, ["ACTIVE", "HIDDEN", "CATEGORY_APP"]),
        (0x1F00, ["CATEGORY_0x1F00"]),
        (0x80000201, ["ACTIVE", "0x80000000", "CATEGORY_0x200"]),
    ],
)
def test_attributes_as_the_standard_names_them(attributes: int, names: list[str]) -> None:
    assert LoadOption.parse(option(attributes=attributes)).attribute_names == tuple(names)


MADE_BY_FIRMWARE = uuid.UUID("8108ac4e-9f11-4d59-850e-e21a522c59b2")


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", None),
        (b"QY", "text: QY"),
        (b"ro quiet\0", "text: ro quiet"),
        (b"one\ntwo", "text: one two"),
        ("ro quiet".encode("utf-16"), "UTF-16 text: ro quiet"),
        ("süd\0".encode("utf-16-le"), "UTF-16 text: süd"),
        (MADE_BY_FIRMWARE.bytes_le, f"GUID {MADE_BY_FIRMWARE}: the firmware made this option by itself"),
        (MADE_BY_FIRMWARE.bytes_le + b"\1\2", "2 bytes behind it"),
        (MADE_BY_FIRMWARE.bytes, None),
        (b"\x1b[2Jred", None),
        (b"\0\0\0\0", None),
        (bytes.fromhex("124e124f"), None),
        (b"\x00\xd8a\0", None),
        (bytes(range(256)), None),
    ],
)
def test_optional_data_is_described_where_it_is_text_or_a_known_guid(data: bytes, text: str | None) -> None:
    said = LoadOption.parse(option(data=data)).optional_data_text
    assert said is None if text is None else said is not None and text in said


def test_two_paths_in_the_list_and_data_that_looks_like_an_end_node() -> None:
    second = bytes.fromhex(RECORDED["usb"]["bytes"])
    raw = option(PATH + second, data=b"\x7f\xff\x04\x00rest")
    read = LoadOption.parse(raw)
    assert read.optional_data == b"\x7f\xff\x04\x00rest"
    assert bytes(read.path) == PATH + second
    assert str(read.path) == RECORDED["hd-file"]["text"]
    assert read.problems == []


@pytest.mark.parametrize("length", range(6))
def test_less_than_the_header_says_nothing(length: int) -> None:
    with pytest.raises(FormatError, match=f"this has {length}"):
        LoadOption.parse(option()[:length])


@pytest.mark.parametrize(
    ("raw", "what"),
    [
        (option()[:20], "description at byte 6: no NUL"),
        (option(b""), "device path list at byte 36: empty"),
        (option()[:60], "but only 24 are left"),
        (option(PATH[:-4]), "device path list at byte 36: no End node"),
    ],
)
def test_damage_is_a_value(raw: bytes, what: str) -> None:
    read = LoadOption.parse(raw)
    assert what in " ".join(read.problems)
    assert read.description == "Fernwick Linux"[: len(read.description)] != ""
    assert read.attributes == 1
    assert bytes(read) == raw


def test_a_cut_list_still_names_its_partition() -> None:
    drive = LoadOption.parse(option()[:-20]).path.hard_drive()
    assert drive is not None
    assert drive.signature == "6b2f1d3a-90c4-4e1b-8f27-0a5cbd41e7f9"


def test_each_cut_of_an_option_says_what_is_left_and_what_is_wrong() -> None:
    whole = option()
    for length in range(6, len(whole)):
        read = LoadOption.parse(whole[:length])
        assert bytes(read) == whole[:length]
        assert read.problems
        assert not read.is_acceptable
        assert read.description.rstrip("\ufffd") == "Fernwick Linux"[: max(0, (length - 6) // 2)]


def test_two_zero_bytes_across_two_characters_do_not_end_the_description() -> None:
    text = "A\u4100x"
    assert text.encode("utf-16-le")[1:3] == b"\0\0"
    assert LoadOption.parse(option(text=text)).description == text
