"""Device paths against the text that real firmware printed, and against paths that virt-firmware built."""

import json
import struct

import pytest
from virt.firmware.efi import devpath

from bootwatch.formats.device_path import MAX_NODES, DevicePath, HardDrive

from . import made_paths
from .tools import SAMPLES

RECORDED = json.loads((SAMPLES / "device_path_text.json").read_text(encoding="utf-8"))["paths"]
MADE = json.loads((SAMPLES / "device_path_made.json").read_text(encoding="utf-8"))["paths"]
PARTUUID = "6b2f1d3a-90c4-4e1b-8f27-0a5cbd41e7f9"
END = bytes.fromhex("7fff0400")


def node(kind: int, subtype: int, data: bytes) -> bytes:
    return struct.pack("<BBH", kind, subtype, 4 + len(data)) + data


def file_node(text: str) -> bytes:
    return node(4, 4, text.encode("utf-16-le") + b"\0\0")


def recorded(name: str) -> DevicePath:
    return DevicePath.parse(bytes.fromhex(RECORDED[name]["bytes"]))


@pytest.mark.parametrize("name", RECORDED)
def test_text_is_what_the_firmware_prints(name: str) -> None:
    assert str(recorded(name)) == RECORDED[name]["text"]


@pytest.mark.parametrize("name", RECORDED)
def test_recorded_paths_come_back_byte_for_byte_and_without_complaint(name: str) -> None:
    path = recorded(name)
    assert bytes(path) == bytes.fromhex(RECORDED[name]["bytes"])
    assert path.problems == []


def test_text_of_made_paths_is_what_the_firmware_printed() -> None:
    printed = dict(MADE)
    assert {path: str(DevicePath.parse(bytes.fromhex(path))) for path in printed} == printed
    assert len(printed) + len(RECORDED) >= 400


def test_made_paths_hold_every_type_of_the_standard_and_come_back_byte_for_byte() -> None:
    paths = [DevicePath.parse(bytes.fromhex(path)) for path, _ in MADE]
    assert [bytes(path).hex() for path in paths] == [path for path, _ in MADE]
    # Longer than its type is all that is wrong with some.
    problems = [problem for path in paths for problem in path.problems]
    assert [text for text in problems if "too few" in text or "does not fit" in text] == []
    assert made_paths.NODES.keys() <= {(node.type, node.subtype) for path in paths for node in path.nodes}


def test_reads_what_virt_firmware_builds() -> None:
    built = devpath.DevicePath()
    for setter, arguments in (
        ("set_gpt", (3, 2048, 614400, PARTUUID)),
        ("set_filepath", ("\\EFI\\fernwick\\loaderx64.efi",)),
    ):
        element = devpath.DevicePathElem()
        getattr(element, setter)(*arguments)
        built.append(element)
    path = DevicePath.parse(bytes(built))
    assert path.hard_drive() == HardDrive(3, 2048, 614400, 2, PARTUUID)
    assert path.file() == "\\EFI\\fernwick\\loaderx64.efi"
    assert path.problems == []


@pytest.mark.parametrize("name", [name for name in RECORDED if "instance" not in name])
def test_virt_firmware_sees_the_same_nodes(name: str) -> None:
    theirs = devpath.DevicePath(bytes.fromhex(RECORDED[name]["bytes"]))
    ours = recorded(name).nodes
    assert [(item.type, item.subtype, item.data) for item in ours] == [
        (item.devtype, item.subtype, item.data) for item in theirs
    ]


def test_hard_drive_is_found_wherever_it_stands() -> None:
    drive = recorded("nvme-hd-file").hard_drive()
    assert drive == HardDrive(1, 0x800, 0x96000, 2, PARTUUID)
    assert recorded("pci-root-pci").hard_drive() is None


def test_mbr_signature_is_spelled_as_linux_spells_it() -> None:
    assert recorded("hd-mbr").hard_drive() == HardDrive(2, 63, 0x1000, 1, "deadbeef")


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        (["\\EFI\\quarry\\start.efi"], "\\EFI\\quarry\\start.efi"),
        (["EFI\\quarry\\start.efi"], "\\EFI\\quarry\\start.efi"),
        (["\\EFI", "quarry", "start.efi"], "\\EFI\\quarry\\start.efi"),
        (["\\EFI\\", "\\quarry\\", "\\start.efi"], "\\EFI\\quarry\\start.efi"),
        (["", "start.efi"], "\\start.efi"),
        ([""], None),
        ([], None),
    ],
)
def test_file_nodes_are_joined_with_one_backslash(parts: list[str], expected: str | None) -> None:
    assert DevicePath.parse(b"".join(map(file_node, parts)) + END).file() == expected


def test_only_file_nodes_that_follow_each_other_are_joined() -> None:
    other = node(3, 0x77, b"")
    assert DevicePath.parse(file_node("a") + other + file_node("b") + END).file() == "\\a"


def test_views_stop_at_the_first_instance() -> None:
    instance = bytes.fromhex("7f010400")
    path = DevicePath.parse(node(1, 1, b"\0\1") + instance + bytes(recorded("hd-file")))
    assert path.hard_drive() is None
    assert path.file() is None


def test_a_second_path_in_the_list_is_kept_but_not_looked_at() -> None:
    first, second = bytes(recorded("hd-file")), bytes(recorded("usb"))
    path = DevicePath.parse(first + second)
    assert bytes(path) == first + second
    assert path.rest == second
    assert str(path) == RECORDED["hd-file"]["text"]
    assert path.problems == []


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"", "no End node before byte 0"),
        (node(1, 1, b"\0\1"), "no End node before byte 6"),
        (node(1, 1, b"\0\1") + b"\x7f\xff", "no End node before byte 8"),
        (b"\x01\x01\x00\x00" + END, "node at byte 0: length 0 does not fit"),
        (b"\x01\x01\x03\x00" + END, "node at byte 0: length 3 does not fit"),
        (node(1, 1, b"\0\1") + b"\x04\x04\xff\x00" + END, "node at byte 6: length 255 does not fit"),
        (node(4, 4, "\\x".encode("utf-16-le")) + END, "file node at byte 0: no NUL"),
        (node(4, 1, bytes(30)) + END, "hard drive node at byte 0: 30 bytes, not 38"),
        (node(1, 1, b"\0\1") + b"\x7f\xff\x06\x00\0\0", "End node at byte 6: 6 bytes, not 4"),
        (node(1, 1, b"\0\1") + node(3, 0x17, bytes(11)) + END, "node at byte 6: 11 bytes are too few"),
    ],
)
def test_damage_is_named_with_its_place_and_the_bytes_are_kept(data: bytes, what: str) -> None:
    path = DevicePath.parse(data)
    assert len(path.problems) == 1
    assert what in path.problems[0]
    assert bytes(path) == data


def test_nodes_before_the_damage_still_count() -> None:
    whole = bytes(recorded("hd-file"))
    path = DevicePath.parse(whole[:-10])
    assert path.problems
    drive = path.hard_drive()
    assert drive is not None
    assert drive.signature == PARTUUID


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (node(4, 1, b"\x01\x02"), "MediaPath(1,0102)"),
        (node(1, 1, b"\x01"), "HardwarePath(1,01)"),
        (node(2, 2, b""), "AcpiPath(2)"),
        (node(3, 0x12, b"\x01\x02\x03\x04\x05"), "Msg(18,0102030405)"),
        (node(3, 0x1F, b""), "Msg(31)"),
        (node(4, 3, bytes(15)), f"MediaPath(3,{'00' * 15})"),
    ],
)
def test_a_node_too_short_for_its_type_gets_the_generic_form(data: bytes, text: str) -> None:
    # The firmware itself reads on behind such a node, and prints what it finds there.
    path = DevicePath.parse(data + END)
    assert str(path) == text
    assert len(path.problems) == 1


@pytest.mark.parametrize("name", ["hd-file", "three-instances", "acpi-ex-all-texts", "vendor-media"])
def test_each_cut_of_a_path_is_one_problem_at_the_end(name: str) -> None:
    whole = bytes(recorded(name))
    for length in range(len(whole)):
        path = DevicePath.parse(whole[:length])
        assert len(path.problems) == 1
        assert not path.is_complete
        assert bytes(path) == whole[:length]


def test_an_endless_list_is_cut_off() -> None:
    path = DevicePath.parse(node(1, 1, b"\0\1") * 100_000 + END)
    assert len(path.nodes) == MAX_NODES
    assert f"more than {MAX_NODES} nodes" in path.problems[0]


def test_unpaired_surrogates_can_always_be_printed() -> None:
    path = DevicePath.parse(node(4, 4, b"\x00\xd8a\0\0\0") + END)
    assert path.file() == "\\\N{REPLACEMENT CHARACTER}a"
    str(path).encode("utf-8")
