"""Boot volumes to write on, by their identity: through their mount, or a temporary one."""

from __future__ import annotations

import contextlib
import ctypes
import os
import stat
import subprocess
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Protocol

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume
from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import FAT_NAMES, Mount, read_mounts
from bootwatch.observe.volumes import Place, is_of, open_place, places_of
from bootwatch.problem import Problem
from bootwatch.recover.folder import Folder
from bootwatch.recover.image import FatImage
from bootwatch.recover.tools import run_tool

# Never read-only instead, where the device is protected; names as they are in Unicode.
_OPTIONS = "rw,nosuid,nodev,noexec,umask=0077,utf8"
_NEW_MOUNTS = 0x00020000  # CLONE_NEWNS, <linux/sched.h>


class Shelf(Protocol):
    """A boot volume's files, by the paths that firmware uses. Each may raise Problem or OSError."""

    def read(self, path: str) -> bytes | None: ...

    def write(self, path: str, data: bytes) -> None: ...

    def remove(self, path: str) -> None: ...

    def remove_folder(self, path: str) -> None: ...

    def missing_folders(self, path: str) -> list[str]: ...

    def room(self) -> tuple[int, int]: ...

    def require_writable(self) -> None: ...


@contextlib.contextmanager
def opened(machine: Machine, identity: str) -> Iterator[Shelf]:
    """The volume of that identity. Raises Problem where there isn't just one, or it can't be written."""
    place = place_of(machine, identity)
    mounts = [one for one in read_mounts(machine) if one.is_whole and is_of(one, place)]
    if mounts:
        yield _through(machine, mounts)
        return
    device = machine.locate(f"dev/{place.node}")
    if not os.path.exists(device):
        disk = machine.locate(f"dev/{place.drive.name}")
        if stat.S_ISBLK(os.stat(disk).st_mode):
            raise Problem(f"The boot volume {identity} has no device of its own (dev/{place.node}).")
        yield FatImage(disk, place.start, place.size)
    elif stat.S_ISBLK(os.stat(device).st_mode):
        with mounted(device, identity) as folder:
            yield Folder(folder)
    else:
        yield FatImage(device, 0, place.size)


def place_of(machine: Machine, identity: str) -> Place:
    """Where the volume of that identity lies. Raises Problem where there isn't just one."""
    places = places_of(read_disks(machine).found)
    found = [one for one in places if identity in _identities(machine, one)]
    if len(found) != 1:
        raise Problem(
            f"The boot volume {identity} isn't there, or there is more than one of that name.",
            "Attach its disk, or detach the other one; then run it again.",
        )
    return found[0]


def _identities(machine: Machine, place: Place) -> list[str]:
    """One without a partition table goes by its serial, and with its disk's address where two have one."""
    if place.identity is not None:
        return [place.identity]
    try:
        with open_place(machine, place) as reader:
            serial = Volume(reader).serial
    except (OSError, FormatError):
        return []
    return [f"fat:{serial}", f"fat:{serial}@{place.disk.address}"]


def _through(machine: Machine, mounts: list[Mount]) -> Folder:
    """The last mount that can be written; where none can, the last."""
    wrong = next((one for one in mounts if one.kind not in FAT_NAMES), None)
    if wrong:
        raise Problem(f"What is mounted at {wrong.folder} is no FAT volume.")
    folders = [Path(machine.locate(one.folder)) for one in mounts]
    can = [one for one in folders if not os.statvfs(one).f_flag & os.ST_RDONLY]
    return Folder((can or folders)[-1])


@contextlib.contextmanager
def mounted(device: str, identity: str, kind: str = "vfat") -> Iterator[Path]:
    """A mount that nobody else sees, and that is gone whatever ends this process. Raises Problem."""
    _leave_shared_mounts()
    folder = tempfile.mkdtemp(prefix="bootwatch-")
    try:
        failed = f"The boot volume {identity} could not be"
        run_tool(["mount", "-t", kind, "-o", _OPTIONS, device, folder], f"{failed} mounted")
        try:
            yield Path(folder)
        finally:
            run_tool(["umount", folder], f"{failed} unmounted")
    finally:
        # Never what lies in it: where unmounting failed, that is the volume.
        with contextlib.suppress(OSError):
            os.rmdir(folder)


@cache
def _leave_shared_mounts() -> None:
    """What others unmount is then unmounted here too, and nothing the other way. Where the kernel doesn't let
    us, the mount is made among those that all share."""
    if ctypes.CDLL(None).unshare(_NEW_MOUNTS) == 0:
        command = ["mount", "--make-rslave", "/"]
        subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
