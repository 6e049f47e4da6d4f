"""Boot volumes to write on, by their identity: through their mount, or a temporary one."""

from __future__ import annotations

import contextlib
import os
import stat
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import FAT_NAMES, Mount, read_mounts
from bootwatch.observe.volumes import Place, is_of, places_of
from bootwatch.problem import Problem
from bootwatch.recover.folder import Folder
from bootwatch.recover.image import FatImage

_OPTIONS = "rw,nosuid,nodev,noexec,umask=0077"


class Shelf(Protocol):
    """A boot volume's files, by the paths that firmware uses. Each may raise Problem or OSError."""

    def read(self, path: str) -> bytes | None: ...

    def write(self, path: str, data: bytes) -> None: ...

    def remove(self, path: str) -> None: ...

    def free_bytes(self) -> int: ...


@contextlib.contextmanager
def opened(machine: Machine, identity: str) -> Iterator[Shelf]:
    """The volume of that identity. Raises Problem where there isn't just one, or it can't be written."""
    place = _place(machine, identity)
    mount = next((one for one in reversed(read_mounts(machine)) if one.is_whole and is_of(one, place)), None)
    if mount:
        yield Folder(Path(_folder(machine, mount)))
        return
    device = machine.locate(f"dev/{place.node}")
    if os.path.exists(device) and stat.S_ISBLK(os.stat(device).st_mode):
        with _mounted(device, identity) as folder:
            yield Folder(folder)
        return
    yield FatImage(machine.locate(f"dev/{place.drive.name}"), place.start)


def _place(machine: Machine, identity: str) -> Place:
    found = [one for one in places_of(read_disks(machine).found) if one.identity == identity]
    if len(found) != 1:
        raise Problem(
            f"The boot volume {identity} isn't there, or there is more than one of that name.",
            "Attach its disk, or detach the other one; then run it again.",
        )
    return found[0]


def _folder(machine: Machine, mount: Mount) -> str:
    if mount.kind not in FAT_NAMES:
        raise Problem(f"What is mounted at {mount.folder} is no FAT volume.")
    return machine.locate(mount.folder)


@contextlib.contextmanager
def _mounted(device: str, identity: str) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="bootwatch-") as folder:
        _run(["mount", "-t", "vfat", "-o", _OPTIONS, device, folder], f"{identity} could not be mounted")
        try:
            yield Path(folder)
        finally:
            _run(["umount", folder], f"{identity} could not be unmounted")


def _run(command: list[str], what: str) -> None:
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if done.returncode:
        said = done.stderr.strip().splitlines()
        raise Problem(f"The boot volume {what}: {said[0] if said else command[0]}.")
