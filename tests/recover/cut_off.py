"""A restore that is killed at one exact system call, on a machine root."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests import strace
from tests.roots import Root
from tests.strace import Spot


def restore(root: Root, *words: str) -> list[str]:
    return [sys.executable, "-B", "-m", "bootwatch.cli", "--root", str(root.folder), "restore", *words]


def spots(root: Root, *words: str) -> list[Spot]:
    """All calls by which a restore that nobody stops changes anything, in their order."""
    threads = strace.spots(restore(root, *words), root.folder.parent / "calls")
    return next(iter(threads.values()))


def cut_off(root: Root, spot: Spot, *words: str) -> bool:
    """Kill a restore as it begins that call; whether it came that far."""
    return strace.cut_off(restore(root, *words), spot)


def stopped(root: Root, fault: str, path: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A restore with a ``fault`` (strace's inject= expression) in the calls that concern ``path``."""
    return strace.failing(restore(root, *words), fault, path)


@dataclass(frozen=True)
class Mounted:
    """A machine root whose first volume is reached through a folder, as if it were mounted there."""

    root: Root

    @property
    def folder(self) -> Path:
        return self.root.folder / "boot/efi"

    def file(self, path: str) -> Path:
        return self.folder / path.strip("\\").replace("\\", "/")

    def files(self) -> dict[str, bytes]:
        return {
            str(one.relative_to(self.folder)): one.read_bytes() if one.is_file() else b"folder"
            for one in sorted(self.folder.rglob("*"))
        }

    def variables(self) -> dict[str, bytes]:
        """Of those that are there; a file without content stands for none."""
        folder = self.root.variable_file("x").parent
        return {one.name: one.read_bytes() for one in sorted(folder.iterdir()) if one.stat().st_size}

    @property
    def whole(self) -> tuple[dict[str, bytes], dict[str, bytes]]:
        return self.files(), self.variables()


def mount_first(root: Root) -> Mounted:
    """Copy the volume's files out to where it is mounted from now on."""
    mounted = Mounted(root)
    mounted.folder.mkdir(parents=True)
    subprocess.run(
        ["mcopy", "-s", "-n", "-i", f"{root.image('vda')}@@1M", "::/", str(mounted.folder)],
        check=True,
        stdin=subprocess.DEVNULL,
        capture_output=True,
    )
    root.write(
        "proc/self/mountinfo",
        "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n2 1 254:65 / /boot/efi rw - vfat /dev/vda1 rw\n",
    )
    return mounted
