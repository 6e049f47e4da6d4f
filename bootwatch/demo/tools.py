"""The disk tools that the demo builds its machine with."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence

from bootwatch.problem import Problem

# Each tool and the Debian package that it is in.
PACKAGES = {
    "sgdisk": "gdisk",
    "mkfs.fat": "dosfstools",
    "mcopy": "mtools",
    "mdel": "mtools",
}
# An ordinary user's PATH lacks the sbin folders; the tools work there without any rights.
_EXTRA_FOLDERS = ("/usr/sbin", "/sbin")


def find(name: str) -> str | None:
    """Where the tool ``name`` lies, or None."""
    folders = os.pathsep.join([os.environ.get("PATH", os.defpath), *_EXTRA_FOLDERS])
    return shutil.which(name, path=folders)


def require() -> None:
    """Raise Problem, naming each missing tool and its Debian package, unless all are there."""
    missing = [name for name in PACKAGES if find(name) is None]
    if missing:
        packages = sorted({PACKAGES[name] for name in missing})
        raise Problem(
            f"The demo builds its disks with {' and '.join(missing)}, not found on this computer.",
            hint=f"Install the Debian package: apt install {' '.join(packages)}",
        )


def run(command: Sequence[str]) -> None:
    """Run one of the tools; raise Problem with its own last words when it fails."""
    path = find(command[0])
    if path is None:
        require()
    # Without its own settings: a person's mtools file would refuse images, or map drive letters.
    environment = {**os.environ, "LC_ALL": "C.UTF-8", "MTOOLSRC": os.devnull, "MTOOLS_SKIP_CHECK": "1"}
    result = subprocess.run(
        [path or command[0], *command[1:]],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
    )
    if result.returncode != 0:
        words = (result.stderr or result.stdout).strip().splitlines()
        raise Problem(f"{command[0]} failed: {words[-1] if words else f'status {result.returncode}'}")
