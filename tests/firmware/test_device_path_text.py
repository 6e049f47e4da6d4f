"""Device paths and load options as bootwatch reads them, and as the firmware itself prints the same bytes."""

import json
import struct
from pathlib import Path

import pytest

from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.load_option import LoadOption
from tests.firmware import firmware
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Bus, Drive
from tests.firmware.machine import Machine
from tests.firmware.programs import program
from tests.firmware.variables import file_on, load_option

pytestmark = pytest.mark.firmware

SAMPLES = Path(__file__).parents[1] / "formats" / "samples" / "device_path_text.json"
END = bytes.fromhex("7fff0400")
FILE = "\\EFI\\fernwick\\loaderx64.efi"


def recorded() -> dict[str, dict[str, str]]:
    """The paths and texts that the quick tests use."""
    found: dict[str, dict[str, str]] = json.loads(SAMPLES.read_text(encoding="utf-8"))["paths"]
    return found


def machine(folder: Path, paths: list[bytes]) -> Machine:
    """Four disks on four buses; the first has the program that prints texts, and the paths for it."""
    records = b"".join(struct.pack("<I", len(path)) + path for path in paths)
    files = {firmware.X64.default_file: program("texts"), "\\paths.bin": records}
    disks = [
        Disk((Partition("11111111-1111-4111-8111-111111111111", content=Fat(files)),)),
        *(
            Disk((Partition(f"{number}2222222-2222-4222-8222-222222222222", content=Fat()),))
            for number in (1, 2)
        ),
        Disk((Partition(content=Fat({firmware.X64.default_file: b"MZ"})),), table="none"),
    ]
    buses = (Bus.VIRTIO, Bus.SATA, Bus.NVME, Bus.USB)
    written = [disk.write(folder / f"{bus}.raw") for disk, bus in zip(disks, buses, strict=True)]
    built = Machine(folder, tuple(Drive(image, bus) for image, bus in zip(written, buses, strict=True)))
    with built.variables() as variables:
        variables.set("Boot0A10", load_option("Fernwick Linux", file_on(disks[1], 1, FILE), data=b"\x01"))
        variables.set("Boot0A11", load_option("Ein\u00e4ugig \u2603", file_on(disks[2], 1)))
        variables.order = [0xA10, 0xA11]
    return built


def test_the_firmware_prints_the_same_text(tmp_path: Path) -> None:
    samples = recorded()
    built = machine(tmp_path, [bytes.fromhex(sample["bytes"]) for sample in samples.values()])
    own, *events = built.run()
    assert own["path"] == (
        "PciRoot(0x0)/Pci(0x4,0x0)/HD(1,GPT,11111111-1111-4111-8111-111111111111,0x800,0x14000)"
        "/\\EFI\\BOOT\\BOOTX64.EFI"
    )
    texts = [event["path"] for event in events if event["event"] == "text"]
    assert texts == [str(DevicePath.parse(bytes.fromhex(sample["bytes"]))) for sample in samples.values()]
    assert texts == [sample["text"] for sample in samples.values()]

    options = {event["name"]: event["path"] for event in events if event["event"] == "option"}
    with built.variables() as variables:
        stored = {name: LoadOption.parse(variables.get(name)) for name in options}
        independently = {f"Boot{number:04X}": entry for number, entry in variables.entries().items()}
    assert {"Boot0A10", "Boot0A11"} < set(options)
    assert len(options) >= 7, "one for each disk and each of the firmware's own applications"
    assert {name: str(option.path) for name, option in stored.items()} == options
    assert {name: (option.description, bytes(option.path)) for name, option in stored.items()} == {
        name: independently[name] for name in options
    }
