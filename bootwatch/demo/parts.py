"""What the demo's machine is made of: two disks, three systems and their files."""

from __future__ import annotations

from uuid import UUID

from bootwatch.demo.disk import DATA, ESP, LINUX, Disk, Partition
from bootwatch.demo.loader import program

FERNWICK_LOADER = "\\EFI\\fernwick\\loaderx64.efi"
QUARRY_LOADER = "\\EFI\\quarry\\startx64.efi"
TARN_LOADER = "\\EFI\\tarn\\rescuex64.efi"
DEFAULT_LOADER = "\\EFI\\BOOT\\BOOTX64.EFI"
QUARRY_STORE = "\\EFI\\quarry\\store.dat"

FERNWICK_ESP = Partition(
    number=1,
    first=1,
    length=96,
    type=ESP,
    guid=UUID("5b0c61f2-7d0e-4f0b-9a51-3f6c2a8d1e01"),
    name="EFI system partition",
    label="FERNWICK",
    serial="5e1f0a01",
)
FERNWICK_ROOT = Partition(
    number=2,
    first=97,
    length=160,
    type=LINUX,
    guid=UUID("c4e7a9d0-1b6f-4c83-8e02-91d5b7f3a602"),
    name="Fernwick Linux",
)
QUARRY_ESP = Partition(
    number=1,
    first=1,
    length=100,
    type=ESP,
    guid=UUID("0d9be3a4-62c8-4e17-b3fd-78a4c05e9d03"),
    name="EFI system partition",
    label="QUARRY",
    serial="9a0c7b03",
)
QUARRY_DATA = Partition(
    number=2,
    first=101,
    length=160,
    type=DATA,
    guid=UUID("e82f5c17-90ab-4d3e-a6c4-0b1d7e3f5a04"),
    name="Quarry data",
)
TARN = Partition(
    number=3,
    first=261,
    length=32,
    type=ESP,
    guid=UUID("7a16d8c3-4f92-4b05-bd68-e29f310c8b05"),
    name="Tarn Rescue",
    label="TARN",
    serial="7c21e405",
)

_NVME = "pci0000:00/0000:00:06.0/nvme/nvme0"
_SATA = "pci0000:00/0000:00:17.0/ata2"
_SATA_DEVICE = f"{_SATA}/host1/target1:0:0/1:0:0:0"
FERNWICK_DISK = Disk(
    name="nvme0n1",
    model="Demo NVMe disk",
    size=260,
    guid=UUID("3c94f0be-a5d2-4867-91e3-5d70b8c24f06"),
    address=f"{_NVME}/nvme0n1",
    controller=_NVME,
    facts=((f"{_NVME}/nvme0n1/nsid", "1"),),
    partitions=(FERNWICK_ESP, FERNWICK_ROOT),
)
QUARRY_DISK = Disk(
    name="sda",
    model="Demo SATA disk",
    size=300,
    guid=UUID("b6e13d58-0c7f-4a9b-8f24-63a1c9d7e507"),
    address=f"{_SATA_DEVICE}/block/sda",
    controller=_SATA_DEVICE,
    # The kernel counts ports from 1, the firmware from 0.
    facts=((f"{_SATA}/ata_port/ata2/port_no", "2"),),
    partitions=(QUARRY_ESP, QUARRY_DATA, TARN),
)
# Major and minor number, as the kernel gives them out.
DISKS = ((FERNWICK_DISK, (259, 0)), (QUARRY_DISK, (8, 0)))

_FERNWICK_MENU = b"timeout 5\ndefault fernwick\n"
_FERNWICK_PROGRAM = program("Fernwick Linux loader, version 4", 40 * 1024)


def volumes() -> list[tuple[Disk, Partition, dict[str, bytes]]]:
    """Each boot volume with what lies on it when all is well."""
    return [
        (
            FERNWICK_DISK,
            FERNWICK_ESP,
            {
                FERNWICK_LOADER: _FERNWICK_PROGRAM,
                "\\EFI\\fernwick\\menu.conf": _FERNWICK_MENU,
                # The same program a second time, as installers put it there.
                DEFAULT_LOADER: _FERNWICK_PROGRAM,
            },
        ),
        (QUARRY_DISK, QUARRY_ESP, quarry_files(version=7)),
        (
            QUARRY_DISK,
            TARN,
            {
                TARN_LOADER: program("Tarn Rescue, version 2", 16 * 1024),
                "\\EFI\\tarn\\rescue.conf": b"console yes\n",
            },
        ),
    ]


def quarry_files(version: int) -> dict[str, bytes]:
    """What Quarry keeps on its ESP; each version brings a new loader and store."""
    start = program(f"Quarry start program, version {version}", 64 * 1024)
    store = f"quarry store {version}\0".encode().ljust(8192, b"\xa5")
    return {QUARRY_LOADER: start, QUARRY_STORE: store, DEFAULT_LOADER: start}
