"""Building the demo's machine: a folder that a reader can't tell from a PC's own root."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID, uuid4

from bootwatch.demo import disk, parts, sysfs, tools
from bootwatch.demo import variables as firmware
from bootwatch.demo.variables import Variables

NAME = "study"
# Boot#### numbers. The firmware made 3 (a program in itself) and 4 and 5 (one a disk) of its own accord.
FERNWICK, QUARRY, TARN, SETTINGS, NVME_DISK, SATA_DISK = range(6)

_FIRMWARE_VOLUME = UUID("2f1d90c4-7b35-4e68-a0d9-c51e8437fa08")
_FIRMWARE_PROGRAM = UUID("94c0b7e5-38d1-4fa2-b6e9-0d72f5a1c309")


@dataclass(frozen=True)
class DemoMachine:
    """A machine root; its disks are the image files ``root/dev/NAME``."""

    root: Path

    @property
    def variables(self) -> Variables:
        return Variables(self.root / "sys/firmware/efi/efivars")

    def image(self, of: disk.Disk) -> Path:
        return self.root / "dev" / of.name

    def start(self, entry: int, esp: disk.Partition, loader: str) -> None:
        """Fernwick Linux starts anew: through ``Boot<entry>``, by ``loader`` on ``esp``."""
        sysfs.write_files(self.root, {"proc/sys/kernel/random/boot_id": str(uuid4())})
        self.variables.write_current(entry)
        self.variables.write_text("LoaderDevicePartUUID", str(esp.guid).upper())
        self.variables.write_text("LoaderImageIdentifier", loader)


def build(folder: Path) -> DemoMachine:
    """Build the machine in ``folder`` (made if it isn't there) and start it once.

    Raises Problem when a tool is missing or fails, OSError when the folder can't be written.
    """
    tools.require()
    machine = DemoMachine(folder)
    for place in ("dev", "run", "var/lib"):
        (folder / place).mkdir(parents=True, exist_ok=True)
    sysfs.write_files(folder, _texts())
    for one, device in parts.DISKS:
        one.make(machine.image(one))
        sysfs.lay_disk(folder, one, device)
    for owner, volume, files in parts.volumes():
        disk.put(machine.image(owner), volume, files)
    _write_variables(machine.variables)
    machine.start(FERNWICK, parts.FERNWICK_ESP, parts.FERNWICK_LOADER)
    return machine


def _write_variables(variables: Variables) -> None:
    options = {
        FERNWICK: firmware.option("Fernwick Linux", parts.FERNWICK_ESP.entry_path(parts.FERNWICK_LOADER)),
        QUARRY: firmware.option("Quarry", parts.QUARRY_ESP.entry_path(parts.QUARRY_LOADER), b"QRY7"),
        TARN: firmware.option("Tarn Rescue", parts.TARN.entry_path(parts.TARN_LOADER)),
        SETTINGS: firmware.option(
            "Firmware settings",
            firmware.firmware_file(_FIRMWARE_VOLUME, _FIRMWARE_PROGRAM),
            attributes=firmware.ACTIVE | firmware.HIDDEN | firmware.APPLICATION,
        ),
        NVME_DISK: _disk_option("UEFI Demo NVMe disk", firmware.pci(6, 0) + firmware.nvme(1)),
        SATA_DISK: _disk_option("UEFI Demo SATA disk", firmware.pci(0x17, 0) + firmware.sata(1)),
    }
    for number, option in options.items():
        variables.write(f"Boot{number:04X}", option)
    variables.write_order([FERNWICK, TARN, QUARRY, NVME_DISK, SATA_DISK])
    variables.write("Timeout", struct.pack("<H", 3))
    variables.write("BootOptionSupport", struct.pack("<I", 0x1), firmware.UNTIL_RESTART)
    variables.write("SecureBoot", b"\0", firmware.UNTIL_RESTART)
    variables.write("SetupMode", b"\1", firmware.UNTIL_RESTART)


def _disk_option(description: str, path: bytes) -> bytes:
    return firmware.option(description, firmware.pci_root() + path, firmware.OWN_MARK.bytes_le)


def _texts() -> dict[str, str]:
    return {
        "sys/firmware/efi/fw_platform_size": "64",
        "proc/sys/kernel/arch": "x86_64",
        "proc/sys/kernel/osrelease": "6.12.3-fernwick",
        "proc/self/mountinfo": _MOUNTS,
        "etc/fstab": _FSTAB,
        "etc/os-release": 'NAME="Fernwick Linux"\nID=fernwick\nPRETTY_NAME="Fernwick Linux 4"',
        "etc/machine-id": "4d1b6f0c92e84a73b5c8e0f7192a3d64",
        "etc/hostname": NAME,
        "sys/class/dmi/id/sys_vendor": "Demo workshop",
        "sys/class/dmi/id/product_name": "Two-system PC",
        "sys/class/dmi/id/bios_vendor": "Demo firmware",
        "sys/class/dmi/id/bios_version": "1.20",
        "sys/class/dmi/id/bios_date": "03/14/2026",
    }


_MOUNTS = """\
24 1 259:2 / / rw,relatime shared:1 - ext4 /dev/nvme0n1p2 rw
25 24 0:22 / /sys rw,nosuid,nodev,noexec,relatime shared:2 - sysfs sysfs rw
26 25 0:29 / /sys/firmware/efi/efivars rw,nosuid,nodev,noexec,relatime shared:3 - efivarfs efivarfs rw
27 24 0:23 / /proc rw,nosuid,nodev,noexec,relatime shared:4 - proc proc rw
28 24 0:5 / /dev rw,nosuid,relatime shared:5 - devtmpfs udev rw,size=4024212k,mode=755
29 24 0:26 / /run rw,nosuid,nodev,noexec,relatime shared:6 - tmpfs tmpfs rw,mode=755"""

# The boot volume is mounted only while somebody uses it, as on many PCs.
_FSTAB = f"""\
PARTUUID={parts.FERNWICK_ROOT.guid} / ext4 defaults 0 1
PARTUUID={parts.FERNWICK_ESP.guid} /boot/efi vfat umask=0077,noauto,x-systemd.automount 0 2"""
