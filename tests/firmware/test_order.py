"""What the firmware runs of two systems on two disks: the harness held against UEFI 2.10 §3.1 and §3.5."""

import re
from pathlib import Path

import pytest

from tests.firmware import firmware
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Bus, Drive
from tests.firmware.machine import Machine
from tests.firmware.programs import Architecture, program
from tests.firmware.variables import ACTIVE, file_on, load_option

pytestmark = pytest.mark.firmware

FERNWICK, QUARRY = "\\EFI\\fernwick\\loaderx64.efi", "\\EFI\\quarry\\loaderx64.efi"
DEFAULT = firmware.X64.default_file
FERNWICK_PART, QUARRY_PART = "11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222"


def disk(guid: str, **files: str) -> Disk:
    """A disk with one boot volume: path (FERNWICK, QUARRY or DEFAULT) to the program there."""
    places = {"fernwick": FERNWICK, "quarry": QUARRY, "default": DEFAULT}
    return Disk((Partition(guid, content=Fat({places[key]: program(name) for key, name in files.items()})),))


def machine(
    folder: Path, fernwick: Disk, quarry: Disk, options: dict[int, bytes], order: list[int]
) -> Machine:
    """Fernwick Linux's disk first (virtio), the other system's second (SATA)."""
    drives = (
        Drive(fernwick.write(folder / "fernwick.raw")),
        Drive(quarry.write(folder / "quarry.raw"), Bus.SATA),
    )
    built = Machine(folder, drives)
    with built.variables() as variables:
        for number, option in options.items():
            variables.set(f"Boot{number:04X}", option)
        variables.order = order
    return built


def ran(built: Machine) -> list[tuple[str, str, str]]:
    """What each program that ran said: its event, the partition and the file it came from."""
    found = []
    for event in built.run():
        match = re.search(r"/HD\(1,GPT,([^,]+),[^)]*\)/(.*)$", event["path"])
        assert match, event
        found.append((event["event"], match[1].lower(), match[2]))
    return found


def test_the_first_entry_of_the_order_runs(tmp_path: Path) -> None:
    first, second = disk(FERNWICK_PART, fernwick="witness"), disk(QUARRY_PART, quarry="witness")
    options = {
        0: load_option("Fernwick Linux", file_on(first, 1, FERNWICK)),
        7: load_option("Quarry", file_on(second, 1, QUARRY)),
    }
    built = machine(tmp_path, first, second, options, [7, 0])
    assert ran(built) == [("started", QUARRY_PART, QUARRY)]
    with built.variables() as variables:
        assert variables.order[:2] == [7, 0]
        assert variables.get("Boot0007") == options[7]


def test_entries_that_fail_are_passed_over(tmp_path: Path) -> None:
    first, second = disk(FERNWICK_PART, fernwick="witness"), disk(QUARRY_PART, quarry="leaver")
    options = {
        1: load_option("Without a file", file_on(second, 1, "\\EFI\\quarry\\gone.efi")),
        2: load_option("Inactive", file_on(first, 1, FERNWICK), attributes=0),
        3: load_option("An application", file_on(first, 1, FERNWICK), attributes=ACTIVE | 0x100),
        4: load_option("Quarry's menu, which is left", file_on(second, 1, QUARRY)),
        5: load_option("Fernwick Linux", file_on(first, 1, FERNWICK), data=b"\x01\x02"),
    }
    built = machine(tmp_path, first, second, options, [1, 2, 3, 4, 5])
    events = built.run()
    assert [(event["event"], event["current"], event["data"]) for event in events] == [
        ("left", "0004", ""),
        ("started", "0005", "0102"),
    ]


def test_without_a_loader_of_its_own_the_default_file_runs(tmp_path: Path) -> None:
    first, second = disk(FERNWICK_PART, default="witness"), disk(QUARRY_PART, quarry="leaver")
    options = {
        4: load_option("Quarry", file_on(second, 1, QUARRY)),
        5: load_option("Fernwick Linux", file_on(first, 1, FERNWICK)),
    }
    built = machine(tmp_path, first, second, options, [4, 5])
    assert ran(built) == [("left", QUARRY_PART, QUARRY), ("started", FERNWICK_PART, DEFAULT)]


@pytest.mark.whole
@pytest.mark.parametrize("build", [firmware.IA32, firmware.AA64], ids=lambda build: build.architecture)
def test_each_architecture_starts_its_own_default_file(build: firmware.Firmware, tmp_path: Path) -> None:
    """From a stick without a partition table; a disk before it has only the other architectures' files."""
    others = set(Architecture) - {build.architecture}
    wrong = {f"\\EFI\\BOOT\\BOOT{other}.EFI": program("witness", other) for other in others}
    right = {build.default_file: program("witness", build.architecture)}
    fixed = Disk((Partition(type="ef", content=Fat(wrong, bits=16)),), table="mbr", guid="0badcafe")
    stick = Disk((Partition(content=Fat(right)),), table="none")
    drives = (
        Drive(fixed.write(tmp_path / "fixed.raw"), Bus.NVME),
        Drive(stick.write(tmp_path / "stick.raw"), Bus.USB),
    )
    (event,) = Machine(tmp_path, drives, build).run()
    assert event["event"] == "started"
    assert re.search(rf"/USB\(0x\w+,0x0\)/\\EFI\\BOOT\\BOOT{build.architecture}\.EFI$", event["path"]), event
