"""Each change by its name, level and system: something real happens to a machine root, and is looked at."""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest

from bootwatch.judge.finding import LEVELS
from bootwatch.judge.meanings import CHANGES, FINDINGS
from tests.formats.tools import run
from tests.judge.looks import drift_after
from tests.roots import (
    DATA_PART,
    DATA_TYPE,
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_ESP,
    QUARRY_LOADER,
    TARN_LOADER,
    TARN_PART,
    Part,
    Root,
    program,
)

IMAGE_SECURITY = "d719b2cb-3d3a-4596-a3bc-dad00e67656f"


def entry_gone(root: Root) -> None:
    root.variable_file("Boot0000").unlink()
    root.order(1, 2)


def entry_malformed(root: Root) -> None:
    root.variable("Boot0000", b"\x01\0\0\0\xff\xff" + "Fernwick Linux".encode("utf-16-le") + b"\0\0")


def entry_new_last(root: Root) -> None:
    root.entry(7, "Cellar tools", QUARRY_ESP, "\\EFI\\cellar\\tool.efi")
    root.order(0, 1, 2, 7)


def entry_new_first(root: Root) -> None:
    root.entry(7, "Cellar tools", QUARRY_ESP, "\\EFI\\cellar\\tool.efi")
    root.order(7, 0, 1, 2)


def entry_inactive(root: Root) -> None:
    root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1", attributes=0)


def entry_an_application(root: Root) -> None:
    """The firmware passes it over when it goes through the order (UEFI 2.10 §3.1.3)."""
    root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1", attributes=0x101)


def entry_retargeted(root: Root) -> None:
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, DEFAULT_LOADER)


def entry_renumbered(root: Root) -> None:
    root.variable_file("Boot0000").rename(root.variable_file("Boot00AB"))
    root.order(0xAB, 1, 2)


def entry_relabelled(root: Root) -> None:
    root.entry(0, "Fernwick", FERNWICK_ESP, FERNWICK_LOADER)


def entry_data(root: Root) -> None:
    root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY2")


def order(root: Root) -> None:
    root.order(1, 0, 2)


def order_gone(root: Root) -> None:
    root.variable_file("BootOrder").unlink()


def next_set(root: Root) -> None:
    root.variable("BootNext", struct.pack("<H", 2))


def timeout(root: Root) -> None:
    root.variable("Timeout", struct.pack("<H", 0))


def volume_gone(root: Root) -> None:
    run("sfdisk", "--delete", root.image("vdb"), "2")


def disk_gone(root: Root) -> None:
    for name in ("vdb", "vdb1", "vdb2"):
        (root.folder / "sys/class/block" / name).unlink()
    root.image("vdb").unlink()


def volume_new(root: Root) -> None:
    root.disk("vdc", [Part("e3a1f0b2-5c4d-4e6f-8a9b-0c1d2e3f4a05", {"\\EFI\\cellar\\x.efi": b"MZ"})], slot=6)


def reformatted(root: Root) -> None:
    run("mkfs.fat", "--offset", str(5 * 2048), root.image("vdb"), "4096")


def no_file_system(root: Root) -> None:
    with root.image("vdb").open("r+b") as image:
        image.seek(5 << 20)
        image.write(bytes(4 << 20))


def retyped(root: Root) -> None:
    run("sfdisk", "--part-type", root.image("vdb"), "1", DATA_TYPE)


def renumbered(root: Root) -> None:
    run("sgdisk", "-r", "1:2", root.image("vdb"))


def reidentified(root: Root) -> None:
    run("sfdisk", "--part-uuid", root.image("vdb"), "2", "0b1c2d3e-4f50-4a6b-8c7d-9e0f1a2b3c06")


def loader_gone(root: Root) -> None:
    root.remove("vda", 1, FERNWICK_LOADER)


def loader_new(root: Root) -> None:
    root.put("vdb", 1, DEFAULT_LOADER, program("quarry default"))


def loader_changed(root: Root) -> None:
    root.put("vdb", 1, QUARRY_LOADER, program("quarry 2"))


def loader_emptied(root: Root) -> None:
    root.put("vda", 1, DEFAULT_LOADER, b"")


def file_gone(root: Root) -> None:
    root.remove("vda", 1, "\\kernel.img")


def file_new(root: Root) -> None:
    root.put("vda", 1, "\\kernel2.img", b"kernel 2")


def file_changed(root: Root) -> None:
    root.put("vda", 1, "\\EFI\\fernwick\\settings.conf", b"timeout 9\n")


def secure_boot(root: Root) -> None:
    root.variable("SecureBoot", b"\x01", attributes=6)


def keys(root: Root) -> None:
    root.variable("dbx", bytes(28), attributes=0x27, guid=IMAGE_SECURITY)


def firmware(root: Root) -> None:
    root.write("sys/class/dmi/id/bios_version", "1.21")


F, Q, T = "Fernwick Linux", "Quarry", "Tarn Rescue"
HAPPENINGS: list[tuple[Callable[[Root], None], list[tuple[str, str, str | None]]]] = [
    (entry_gone, [("entry-missing", "diverted", F)]),
    (entry_malformed, [("entry-missing", "diverted", F)]),
    (entry_new_last, [("entry-added", "changed", "Cellar tools")]),
    (entry_new_first, [("entry-added", "changed", "Cellar tools"), ("order-changed", "changed", None)]),
    (entry_inactive, [("entry-inactive", "weakened", Q)]),
    (entry_an_application, [("entry-inactive", "weakened", Q)]),
    (entry_retargeted, [("entry-retargeted", "weakened", F)]),
    (entry_renumbered, [("entry-renumbered", "routine", F)]),
    (entry_relabelled, [("entry-relabelled", "routine", F)]),
    (entry_data, [("entry-data-changed", "changed", Q)]),
    (order, [("order-changed", "diverted", F)]),
    (order_gone, [("order-changed", "weakened", F)]),
    (next_set, [("next-set", "diverted", F)]),
    (timeout, [("timeout-changed", "changed", None)]),
    (volume_gone, [("volume-missing", "stranded", T)]),
    (disk_gone, [("volume-missing", "stranded", Q), ("volume-missing", "stranded", T)]),
    (volume_new, [("volume-added", "changed", None)]),
    (reformatted, [("volume-reformatted", "stranded", T), ("loader-missing", "stranded", T)]),
    (no_file_system, [("volume-reformatted", "stranded", T)]),
    (retyped, [("partition-retyped", "weakened", Q)]),
    (renumbered, [("partition-renumbered", "stranded", Q), ("partition-renumbered", "stranded", T)]),
    (reidentified, [("partition-reidentified", "stranded", T)]),
    (loader_gone, [("loader-missing", "diverted", F)]),
    (loader_new, [("loader-added", "changed", Q)]),
    (loader_changed, [("loader-changed", "changed", Q)]),
    (loader_emptied, [("loader-emptied", "weakened", F)]),
    (file_gone, [("file-missing", "routine", F)]),
    (file_new, [("file-added", "routine", F)]),
    (file_changed, [("file-changed", "routine", F)]),
    (secure_boot, [("secure-boot-switched", "weakened", None)]),
    (keys, [("keys-changed", "changed", None)]),
]


@pytest.mark.parametrize(
    ("happens", "expected"), HAPPENINGS, ids=lambda value: getattr(value, "__name__", "")
)
def test_names_what_happened(
    hall: Root, happens: Callable[[Root], None], expected: list[tuple[str, str, str | None]]
) -> None:
    drift = drift_after(hall, happens)
    found = [(change.change, change.level.value, change.system) for change in drift.changes]
    assert sorted(found, key=str) == sorted(expected, key=str)
    assert drift.gaps == ()


def test_every_change_has_a_happening_and_a_document(hall: Root) -> None:
    named = {change for _, expected in HAPPENINGS for change, _, _ in expected}
    assert named | {"firmware-updated"} == set(CHANGES)
    # Findings that are made where the baseline is at hand; the others are held to have a level.
    assert set(FINDINGS) == set(LEVELS) | {"unheard", "no-way-left"}


def test_names_a_firmware_update(hall: Root) -> None:
    for name, text in (("bios_vendor", "Demo"), ("bios_version", "1.20"), ("bios_date", "03/14/2026")):
        hall.write(f"sys/class/dmi/id/{name}", text)
    assert [change.change for change in drift_after(hall, firmware).changes] == ["firmware-updated"]


def test_nothing_happened(hall: Root) -> None:
    drift = drift_after(hall, lambda root: root.start_again())
    assert (drift.changes, drift.findings, drift.gaps) == ((), (), ())


def test_case_of_a_file_name_is_no_change(hall: Root) -> None:
    def respell(root: Root) -> None:
        root.remove("vda", 1, DEFAULT_LOADER)
        root.put("vda", 1, "\\EFI\\BOOT\\Bootx64.efi", program("fernwick 1"))

    assert drift_after(hall, respell).changes == ()


def test_two_equal_entries_are_two(hall: Root) -> None:
    hall.entry(9, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER)

    def both_gone(root: Root) -> None:
        entry_gone(root)
        root.variable_file("Boot0009").unlink()

    changes = drift_after(hall, both_gone).changes
    assert [change.change for change in changes] == ["entry-missing", "entry-missing"]
    assert len({change.id for change in changes}) == 2


def test_an_id_stays_from_one_look_to_the_next(hall: Root) -> None:
    first = drift_after(hall, loader_gone).changes[0].id
    hall.put("vda", 1, FERNWICK_LOADER, program("fernwick 1"))
    hall.start_again()
    assert drift_after(hall, loader_gone).changes[0].id == first


def test_a_volume_that_the_baseline_names_is_read_even_if_nothing_else_does(hall: Root) -> None:
    """Its type is gone and so is its entry: only the baseline still knows it as a boot volume."""

    def forgotten(root: Root) -> None:
        run("sfdisk", "--part-type", root.image("vdb"), "2", DATA_TYPE)
        root.variable_file("Boot0002").unlink()
        root.order(0, 1)
        root.remove("vdb", 5, TARN_LOADER)
        run("mdeltree", "-i", f"{root.image('vdb')}@@5M", "::/EFI")

    names = {change.change for change in drift_after(hall, forgotten).changes}
    assert names == {"partition-retyped", "entry-missing", "loader-missing"}


def test_says_both_sides(hall: Root) -> None:
    change = drift_after(hall, retyped).changes[0]
    assert change.before["type"] == "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
    assert change.after["type"] == DATA_TYPE
    assert change.where == f"gpt:{QUARRY_ESP}"
    assert TARN_PART not in change.where and DATA_PART not in change.where


def test_order_that_was_not_there_before(hall: Root) -> None:
    hall.variable_file("BootOrder").unlink()
    assert [change.change for change in drift_after(hall, order).changes] == ["order-changed"]


def test_another_partition_number_leads_somewhere_else(hall: Root) -> None:
    """Firmware compares it, whatever the identifier says."""

    def other_number(root: Root) -> None:
        root.entry(0, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER, partition=7)

    assert [change.change for change in drift_after(hall, other_number).changes] == ["entry-retargeted"]
