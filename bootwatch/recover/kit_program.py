"""The program that goes into a kit: bootwatch as one file that Python runs, without any library beside it."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path

import bootwatch
from bootwatch.carried import archive
from bootwatch.problem import MachineProblem

_TIME = (1980, 1, 1, 0, 0, 0)  # the same program is the same file
_SHEBANG = b"#!/usr/bin/env python3\n"
_START = """\
import sys

if sys.version_info < (3, 11):
    sys.exit("bootwatch: this needs Python 3.11 or newer, and here it is %d.%d." % sys.version_info[:2])
from bootwatch.cli.main import main

sys.exit(main())
"""


def program() -> bytes:
    """The file. Raises MachineProblem where the program that runs can't be read."""
    try:
        own = archive()
        return own.read_bytes() if own else _zipped(Path(bootwatch.__file__).parent)
    except OSError as error:
        raise MachineProblem(f"The program can't be copied into a kit: {error.strerror}.") from error


def _zipped(package: Path) -> bytes:
    room = io.BytesIO(_SHEBANG)
    room.seek(0, io.SEEK_END)
    with zipfile.ZipFile(room, "a", zipfile.ZIP_DEFLATED) as file:
        _put(file, "__main__.py", _START.encode())
        for source in sorted(package.rglob("*.py")):
            _put(file, f"bootwatch/{source.relative_to(package).as_posix()}", source.read_bytes())
    return room.getvalue()


def _put(file: zipfile.ZipFile, name: str, data: bytes) -> None:
    about = zipfile.ZipInfo(name, _TIME)
    about.external_attr = (stat.S_IFREG | 0o644) << 16
    about.compress_type = zipfile.ZIP_DEFLATED
    file.writestr(about, data)
