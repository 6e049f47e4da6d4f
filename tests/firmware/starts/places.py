"""Where disks hang in the machines that are started, by QEMU's, the firmware's and the kernel's names."""

import base64
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tests.firmware.drive import LATE, Bus, Drive
from tests.firmware.image import Image
from tests.firmware.programs import Architecture
from tests.firmware.starts import nodes

SAMPLE = Path(__file__).parent / "samples" / "sysfs.json"


@dataclass(frozen=True)
class Place:
    """One place for a disk; only those of PLACES have a record of their sysfs."""

    bus: Bus
    unit: int
    removable: bool = False

    @property
    def name(self) -> str:
        return f"{self.bus}{self.unit}"

    def drive(self, image: Image) -> Drive:
        """QEMU's side."""
        return Drive(image, self.bus, self.unit, self.removable)

    @property
    def function(self) -> tuple[int, int]:
        """PCI device and function, as drive.py has them."""
        if self.bus is Bus.SATA:
            return 0x1F, 2
        if self.bus is Bus.USB:
            return (0x1B if self.unit >= LATE else 0x3), 0
        return (4 if self.bus is Bus.VIRTIO else 0xC) + self.unit, 0

    def path(self, function: tuple[int, int] | None = None, port: int | None = None) -> bytes:
        """The firmware's device path, without an End node; or one that says another function or port."""
        device = nodes.pci_root() + nodes.pci(*(function or self.function))
        at = self.unit if port is None else port
        return (
            device
            + {
                Bus.VIRTIO: b"",
                Bus.SATA: nodes.sata(at),
                Bus.NVME: nodes.nvme(1 if port is None else port),
                Bus.USB: nodes.usb(at % LATE),
            }[self.bus]
        )

    @property
    def text(self) -> str:
        """The same as the firmware prints it (UEFI 2.10 §10.6)."""
        behind = {
            Bus.VIRTIO: "",
            Bus.SATA: f"/Sata({self.unit:#x},0xFFFF,0x0)",
            Bus.NVME: "/NVMe(0x1,00-00-00-00-00-00-00-00)",
            Bus.USB: f"/USB({self.unit % LATE:#x},0x0)",
        }[self.bus]
        device, function = self.function
        return f"PciRoot(0x0)/Pci(0x{device:X},0x{function:X}){behind}"


PLACES = (
    *(Place(Bus.VIRTIO, unit) for unit in (0, 1, 2, 6, 14)),
    *(Place(Bus.SATA, unit) for unit in (0, 1, 5)),
    *(Place(Bus.NVME, unit) for unit in (0, 1)),
    *(Place(Bus.USB, unit, removable=True) for unit in (0, 1, 4)),
    *(Place(Bus.USB, unit) for unit in (2, 5)),
)


def places(architecture: Architecture) -> tuple[Place, ...]:
    """Those that the architecture's machine has."""
    return tuple(one for one in PLACES if one.bus is not Bus.SATA or architecture is not Architecture.AA64)


def sysfs(architecture: Architecture) -> dict[str, dict[str, Any]]:
    """What a guest's kernel shows of the disk in each place, by the place's name (see record_sysfs)."""
    places: dict[str, dict[str, Any]] = _record(architecture)["places"]
    return places


def volatile(architecture: Architecture) -> dict[str, bytes]:
    """The variables that the firmware made afresh for that guest, by file name, as efivarfs showed them."""
    return {name: base64.b64decode(text) for name, text in _record(architecture)["variables"].items()}


def address(place: Place, architecture: Architecture = Architecture.X64) -> str:
    """The kernel's path to the device, below /sys/devices, without the disk's own name."""
    record = sysfs(architecture)[place.name]
    link: str = record["link"].removeprefix("../../devices/")
    return link.removesuffix(f"/{record['name']}").removesuffix("/block")


def _record(architecture: Architecture) -> dict[str, Any]:
    """The PC with 32-bit firmware is the same PC."""
    of = Architecture.AA64 if architecture is Architecture.AA64 else Architecture.X64
    record: dict[str, Any] = _records()[of]
    return record


@cache
def _records() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(SAMPLE.read_text())
    return found
