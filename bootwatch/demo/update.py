"""What Quarry's update does to the machine while Quarry runs it."""

from __future__ import annotations

from bootwatch.demo import disk, parts
from bootwatch.demo.machine import FERNWICK, NVME_DISK, QUARRY, SATA_DISK, TARN, DemoMachine


def update_quarry(machine: DemoMachine) -> None:
    """Quarry brings a new version of itself, takes the first place and clears away what isn't its own."""
    quarry_image = machine.image(parts.QUARRY_DISK)
    disk.put(quarry_image, parts.QUARRY_ESP, parts.quarry_files(version=8))
    disk.remove(machine.image(parts.FERNWICK_DISK), parts.FERNWICK_ESP, parts.FERNWICK_LOADER)
    machine.variables.remove(f"Boot{FERNWICK:04X}")
    machine.variables.write_order([QUARRY, TARN, NVME_DISK, SATA_DISK])


def start_by_entry(machine: DemoMachine) -> None:
    """The firmware starts Fernwick Linux by its entry, as it usually does."""
    machine.start(FERNWICK, parts.FERNWICK_ESP, parts.FERNWICK_LOADER)


def start_from_disk(machine: DemoMachine) -> None:
    """Somebody picks the disk in the firmware's menu: Fernwick Linux starts by its default file."""
    machine.start(NVME_DISK, parts.FERNWICK_ESP, parts.DEFAULT_LOADER)
