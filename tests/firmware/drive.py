"""How a disk is attached."""

from dataclasses import dataclass
from enum import StrEnum

from tests.firmware.image import Image

LATE = 4  # the first unit of the second USB controller, whose PCI address is behind most others


class Bus(StrEnum):
    """What the disk hangs on; only the PCs have SATA."""

    VIRTIO = "virtio"
    SATA = "sata"
    NVME = "nvme"
    USB = "usb"


@dataclass(frozen=True)
class Drive:
    """A disk in a machine; `unit` (from 0) is the SATA or USB port and tells PCI addresses apart. USB disks
    call themselves removable, as sticks do, or not."""

    image: Image
    bus: Bus = Bus.VIRTIO
    unit: int = 0
    removable: bool = True

    def arguments(self) -> list[str]:
        """QEMU's arguments for the disk itself."""
        name = f"{self.bus}{self.unit}"
        backend = f"if=none,id={name},format={self.image.format},file={self.image.path},discard=unmap"
        device = {
            Bus.VIRTIO: f"virtio-blk-pci,drive={name},addr={4 + self.unit:#x}",
            Bus.SATA: f"ide-hd,drive={name},bus=ide.{self.unit}",
            Bus.NVME: f"nvme,drive={name},serial={name},addr={0xC + self.unit:#x}",
            Bus.USB: f"usb-storage,drive={name},{self._port},removable={'on' if self.removable else 'off'}",
        }[self.bus]
        return ["-drive", backend, "-device", device]

    @property
    def _port(self) -> str:
        hub = "late" if self.unit >= LATE else "usb"
        return f"bus={hub}.0,port={1 + self.unit % LATE}"


def controllers(drives: tuple[Drive, ...]) -> list[str]:
    """QEMU's arguments for what the disks hang on; the PC has its SATA controller already."""
    late = {drive.unit >= LATE for drive in drives if drive.bus is Bus.USB}
    early = ["-device", "qemu-xhci,id=usb,addr=0x3"] if False in late else []
    return early + (["-device", "qemu-xhci,id=late,addr=0x1b"] if True in late else [])
