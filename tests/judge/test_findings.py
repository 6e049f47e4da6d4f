"""What is wrong by itself."""

from __future__ import annotations

import struct

from bootwatch.judge.findings import findings
from bootwatch.judge.outlook import outlook
from bootwatch.judge.scene import Scene
from bootwatch.judge.systems import Systems
from tests.formats.tools import run
from tests.judge.looks import look
from tests.roots import DATA_TYPE, QUARRY_ESP, TARN_PART, Part, Root


def found(root: Root) -> list[tuple[str, str, str | None]]:
    snapshot = look(root)
    systems = Systems.learn((snapshot.state,))
    all_found = findings(Scene(snapshot, systems, outlook(snapshot.state, snapshot.gaps, systems)))
    return [(item.finding, item.level.value, item.system) for item in all_found]


def test_nothing_is_wrong_with_the_usual_machine(hall: Root) -> None:
    assert found(hall) == []


def test_volume_that_is_no_esp(hall: Root) -> None:
    run("sfdisk", "--part-type", hall.image("vdb"), "2", DATA_TYPE)
    assert found(hall) == [("volume-not-esp", "weakened", "Tarn Rescue")]


def test_removable_disk_first_by_its_partition(hall: Root) -> None:
    guid = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
    hall.disk("vdc", [Part(guid, {"\\EFI\\BOOT\\BOOTX64.EFI": b"MZ"})], slot=6, removable=True)
    hall.entry(8, "Stick", guid, "\\EFI\\BOOT\\BOOTX64.EFI")
    hall.order(8, 0, 1, 2)
    assert found(hall) == [("removable-first", "changed", "Stick")]


def test_removable_disk_first_by_its_usb_port(hall: Root) -> None:
    nodes = bytes.fromhex("02010c00d041030a00000000 010106000007 030506000200 7fff0400")
    option = struct.pack("<IH", 1, len(nodes)) + "USB stick".encode("utf-16-le") + b"\0\0" + nodes
    hall.variable("Boot0008", option)
    hall.order(8, 0, 1, 2)
    assert found(hall) == [("removable-first", "changed", None)]


def test_switched_off_entry_does_not_come_first(hall: Root) -> None:
    guid = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
    hall.disk("vdc", [Part(guid, {"\\x.efi": b"MZ"})], slot=6, removable=True)
    hall.entry(8, "Stick", guid, "\\x.efi", attributes=0)
    hall.order(8, 0, 1, 2)
    assert found(hall) == []


def test_next_left_behind(hall: Root) -> None:
    hall.variable("BootNext", struct.pack("<H", 1))
    assert found(hall) == [("next-left-behind", "changed", "Quarry")]


def test_empty_next_is_none(hall: Root) -> None:
    hall.variable("BootNext", b"")
    assert found(hall) == []


def test_same_identifiers(hall: Root) -> None:
    hall.image("vdc").write_bytes(hall.image("vdb").read_bytes())
    hall.list_disk("vdc", hall.image("vdb").stat().st_size, [Part(QUARRY_ESP), Part(TARN_PART)], 6, False)
    assert {name for name, _, _ in found(hall)} == {"same-identifiers"}
    assert len(found(hall)) == 3  # the disk and its two partitions
