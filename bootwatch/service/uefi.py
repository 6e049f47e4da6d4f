"""Whether the machine was started by UEFI at all."""

from __future__ import annotations

import os

from bootwatch.model.disk import ESP, MBR_ESP
from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.problem import MachineProblem

_UDEV = "run/udev/data"


def require_uefi(machine: Machine) -> None:
    """Raise MachineProblem when the machine was not started by UEFI; the hint says whether it could be."""
    if machine.is_folder("sys/firmware/efi"):
        return
    if _has_esp(machine):
        hint = (
            "It has an EFI system partition. If it was started from a stick, start it again by its UEFI line:"
            " choose that in the firmware's start menu (the machine maker's manual names the key)."
        )
    else:
        hint = (
            "bootwatch looks after PCs whose systems start through UEFI; there is nothing for it to do here."
        )
    raise MachineProblem("This machine was not started by UEFI: it shows no firmware variables.", hint)


def _has_esp(machine: Machine) -> bool:
    if machine.root == "/" and os.geteuid() == 0:
        return _udev_knows_esp(machine)  # root parses no disk
    disks = read_disks(machine)
    return any(part.type in (ESP, MBR_ESP) for disk, _ in disks.found for part in disk.partitions)


def _udev_knows_esp(machine: Machine) -> bool:
    try:
        names = [name for name in machine.names(_UDEV) if name.startswith("b")]
    except OSError:
        return False
    records = ((machine.text_or_none(f"{_UDEV}/{name}") or "").lower() for name in names)
    return any(f"id_part_entry_type={kind}\n" in record for record in records for kind in (ESP, "0xef"))
