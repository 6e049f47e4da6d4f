"""Files on a boot volume in a disk image, through mtools: where there is nothing to mount."""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from pathlib import Path

from bootwatch.problem import Problem
from bootwatch.recover.paths import parts_of

_FREE = re.compile(r"([0-9 ]+) bytes free")


class FatImage:
    """A FAT file system in a plain file, from ``offset`` (bytes) on."""

    def __init__(self, file: str, offset: int) -> None:
        self._drive = f"{file}@@{offset}"

    def read(self, path: str) -> bytes | None:
        """A file's content, None where there is none. Raises Problem."""
        if self._run("mattrib", _name(path), check=False).returncode:
            return None
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / "copy"
            self._run("mcopy", "-n", _name(path), str(copy))
            return copy.read_bytes()

    def write(self, path: str, data: bytes) -> None:
        """Put a file in place; folders above it are made. Raises Problem."""
        names = parts_of(path)
        for end in range(1, len(names)):
            folder = "::" + "/".join(names[:end])
            if self._run("mattrib", folder, check=False).returncode:
                self._run("mmd", folder)
        with tempfile.NamedTemporaryFile() as file:
            file.write(data)
            file.flush()
            self._run("mcopy", "-o", file.name, f"{_name(path)}.new")
        self.remove(path)
        self._run("mren", f"{_name(path)}.new", _name(path))

    def remove(self, path: str) -> None:
        """Take a file away; one that isn't there is fine. Raises Problem."""
        if not self._run("mattrib", _name(path), check=False).returncode:
            self._run("mdel", _name(path))

    def free_bytes(self) -> int:
        found = _FREE.search(self._run("mdir", "::").stdout)
        return int(found[1].replace(" ", "")) if found else 0

    def _run(self, tool: str, *arguments: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        command = [tool, "-i", self._drive, *arguments]
        try:
            done = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                check=False,
                env={**os.environ, "MTOOLS_SKIP_CHECK": "1", "LC_ALL": "C.UTF-8"},
            )
        except FileNotFoundError as error:
            raise Problem("mtools is not installed, and disk images are written with it.") from error
        if check and done.returncode:
            said = (done.stderr or done.stdout).strip().splitlines()
            raise Problem(f"The disk image could not be written: {said[0] if said else tool}.")
        return done


def _name(path: str) -> str:
    return "::" + "/".join(parts_of(path))
