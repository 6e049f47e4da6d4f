"""How a disk is attached."""

from dataclasses import dataclass
from enum import StrEnum

from tests.firmware.image import Image


class Bus(StrEnum):
    """What the disk hangs on. USB disks are removable; only the PCs have SATA."""

    VIRTIO = "virtio"
    SATA = "sata"
    NVME = "nvme"
    USB = "usb"


@dataclass(frozen=True)
class Drive:
    """A disk in a machine; `unit` (from 0) is the SATA or USB port and tells PCI addresses apart."""

    image: Image
    bus: Bus = Bus.VIRTIO
    unit: int = 0

    def arguments(self) -> list[str]:
        """QEMU's arguments for the disk itself."""
        name = f"{self.bus}{self.unit}"
        backend = f"if=none,id={name},format={self.image.format},file={self.image.path},discard=unmap"
        device = {
            Bus.VIRTIO: f"virtio-blk-pci,drive={name},addr={4 + self.unit:#x}",
            Bus.SATA: f"ide-hd,drive={name},bus=ide.{self.unit}",
            Bus.NVME: f"nvme,drive={name},serial={name},addr={0xC + self.unit:#x}",
            Bus.USB: f"usb-storage,drive={name},bus=usb.0,port={1 + self.unit},removable=on",
        }[self.bus]
        return ["-drive", backend, "-device", device]


def controllers(drives: tuple[Drive, ...]) -> list[str]:
    """QEMU's arguments for what the disks hang on; the PC has its SATA controller already."""
    return ["-device", "qemu-xhci,id=usb,addr=0x3"] if any(drive.bus is Bus.USB for drive in drives) else []
