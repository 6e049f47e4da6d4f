"""A restore that is killed at one exact system call, on a machine root."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.roots import Root

PROJECT = Path(__file__).resolve().parents[2]
# All by which the restoring process changes anything.
CALLS = "write,pwrite64,rename,renameat2,unlink,unlinkat,mkdir,mkdirat,rmdir,ftruncate,fsync"
_LIMIT = 60


def restore(root: Root, *words: str) -> list[str]:
    return [sys.executable, "-B", "-m", "bootwatch.cli", "--root", str(root.folder), "restore", *words]


Spot = tuple[str, int]
"""A system call and which one of its kind: strace counts each kind for itself."""


def spots(root: Root, *words: str) -> list[Spot]:
    """All such calls of a restore that nobody stops, in their order."""
    log = root.folder.parent / "calls"
    strace = ["strace", "-qq", "-o", str(log), "-e", f"trace={CALLS}", "-e", "signal=none"]
    done = subprocess.run(
        [*strace, *restore(root, *words)], cwd=PROJECT, capture_output=True, timeout=_LIMIT, check=False
    )
    assert done.returncode == 0, done.stderr
    count: Counter[str] = Counter()
    found = []
    for line in log.read_text().splitlines():
        call = line.partition("(")[0]
        count[call] += 1
        found.append((call, count[call]))
    return found


def cut_off(root: Root, spot: Spot, *words: str) -> bool:
    """Kill a restore as it begins that call; whether it came that far."""
    call, when = spot
    strace = ["strace", "-qq", "-o", "/dev/null", "-e", f"trace={call}"]
    fault = ["-e", f"inject={call}:signal=KILL:when={when}"]
    done = subprocess.run(
        [*strace, *fault, *restore(root, *words)],
        cwd=PROJECT,
        capture_output=True,
        timeout=_LIMIT,
        check=False,
    )
    return done.returncode == -signal.SIGKILL


def stopped(root: Root, fault: str, path: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A restore with a ``fault`` (strace's inject= expression) in the calls that concern ``path``."""
    call = fault.partition(":")[0]
    strace = ["strace", "-qq", "-o", "/dev/null", "-P", str(path), "-e", f"trace={call}"]
    return subprocess.run(
        [*strace, "-e", f"inject={fault}", *restore(root, *words)],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        timeout=_LIMIT,
        check=False,
    )


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
