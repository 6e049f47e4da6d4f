"""The independent tools that these tests hold the readers against."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parent / "samples"
# An ordinary user's PATH lacks the folders that hold sgdisk, sfdisk and mkfs.fat.
_PATH = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/sbin"])
_ENVIRONMENT = {
    "PATH": _PATH,
    "LC_ALL": "C.UTF-8",
    "TZ": "UTC",
    "MTOOLSRC": str(SAMPLES / "mtoolsrc"),
    "MTOOLS_SKIP_CHECK": "1",
}


def run(tool: str, *arguments: str | Path, given: str | None = None, statuses: tuple[int, ...] = (0,)) -> str:
    """Run a tool and return what it printed; the test fails when the tool is missing or fails."""
    found = shutil.which(tool, path=_PATH)
    if found is None:
        pytest.fail(f"{tool} is not installed; tests/quick.packages names the packages these tests need")
    command = [found, *map(str, arguments)]
    done = subprocess.run(
        command, input=given, capture_output=True, text=True, env=_ENVIRONMENT, timeout=60, check=False
    )
    if done.returncode not in statuses:
        pytest.fail(f"{tool} ended with {done.returncode}: {done.stderr.strip() or done.stdout.strip()}")
    return done.stdout


def patch(path: Path, offset: int, data: bytes) -> None:
    """Overwrite a few bytes of a file."""
    with path.open("r+b") as file:
        file.seek(offset)
        file.write(data)


def blank(path: Path, size: int) -> Path:
    """A sparse file of `size` bytes."""
    with path.open("wb") as file:
        file.truncate(size)
    return path


class FailingReader:
    """A reader whose device cannot be read from a certain byte on."""

    def __init__(self, path: Path, fails_from: int) -> None:
        self._file = path.open("rb")
        self._fails_from = fails_from

    def seek(self, offset: int, whence: int = 0, /) -> int:
        return self._file.seek(offset, whence)

    def read(self, size: int = -1, /) -> bytes:
        if size < 0 or self._file.tell() + size > self._fails_from:
            raise OSError(5, "Input/output error")
        return self._file.read(size)

    def close(self) -> None:
        self._file.close()
