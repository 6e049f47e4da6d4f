"""How much room the firmware has for variables, as efivarfs tells it."""

from __future__ import annotations

import os
from dataclasses import dataclass

from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import read_mounts
from bootwatch.observe.variables import FOLDER

KIND = "efivarfs"


@dataclass(frozen=True)
class VariableStore:
    """Bytes in all, and those that may still be written; None where they can't be told."""

    size: int | None = None
    free: int | None = None


def read_store(machine: Machine) -> VariableStore:
    """Ask the firmware by statfs(2), as Linux 6.7 and newer do; older ones, and firmware that can't tell,
    say 0. Unknown is no gap: nothing that is compared depends on it.
    """
    try:
        folder = machine.locate(FOLDER)
        if not is_efivarfs(machine, folder):
            return VariableStore()
        about = machine.room(folder)
    except OSError:
        return VariableStore()
    # The kernel keeps some 5 KB of what is free back: stores filled to the last byte have broken machines.
    size, free = about.f_blocks * about.f_frsize, about.f_bavail * about.f_frsize
    return VariableStore(size, free) if 0 < size >= free else VariableStore()


def is_efivarfs(machine: Machine, folder: str) -> bool:
    """Whether the folder really lies on the mount that the machine's table names.

    In a copy of a machine's files it doesn't, whatever the copied table says: statfs would tell of another
    file system.
    """
    number = machine.about(folder).st_dev
    device = f"{os.major(number)}:{os.minor(number)}"
    mine = [mount for mount in read_mounts(machine) if mount.folder == f"/{FOLDER}"]
    return bool(mine) and (mine[-1].kind, mine[-1].device) == (KIND, device)
