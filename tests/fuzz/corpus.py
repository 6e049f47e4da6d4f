"""Inputs that are kept: `corpus/FORMAT.zip`, which earlier fuzzing found to reach different code, and
`samples/FORMAT/`, each of which once showed a fault and is named after it.

Usage: python -m tests.fuzz.corpus FORMAT FOLDER...    keeps the folders' inputs as the corpus of a format
"""

import sys
import zipfile
from collections.abc import Iterable
from pathlib import Path
from types import FrameType
from typing import Any

from tests.fuzz import targets

HERE = Path(__file__).parent
_LARGEST = 8 << 10
_TIME = (2000, 1, 1, 0, 0, 0)
_READERS = str(HERE.parents[1] / "bootwatch" / "formats")
Step = tuple[str, int, int]


def kept(name: str) -> list[bytes]:
    path = HERE / "corpus" / f"{name}.zip"
    if not path.exists():
        return []
    with zipfile.ZipFile(path) as archive:
        return [archive.read(one) for one in archive.namelist()]


def samples(name: str) -> dict[str, bytes]:
    folder = HERE / "samples" / name
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())} if folder.is_dir() else {}


def keep(name: str, inputs: Iterable[bytes]) -> int:
    """Store the inputs, small ones first, that take a step from line to line which none before them takes."""
    seen: set[Step] = set()
    found = []
    for data in sorted(set(inputs), key=lambda data: (len(data), data)):
        steps = _steps(name, data) if len(data) <= _LARGEST else set()
        if not steps <= seen:
            seen |= steps
            found.append(data)
    with zipfile.ZipFile(HERE / "corpus" / f"{name}.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for number, data in enumerate(found):
            archive.writestr(zipfile.ZipInfo(f"{number:03}", _TIME), data, zipfile.ZIP_DEFLATED, 9)
    return len(found)


def _steps(name: str, data: bytes) -> set[Step]:
    """Every step from one line of the readers to the next that an input leads to."""
    steps: set[Step] = set()

    def trace(frame: FrameType, _event: str, _argument: Any) -> Any:
        file = frame.f_code.co_filename
        if not file.startswith(_READERS):
            return None
        before = 0

        def line(frame: FrameType, _event: str, _argument: Any) -> Any:
            nonlocal before
            steps.add((file, before, frame.f_lineno))
            before = frame.f_lineno
            return line

        return line

    sys.settrace(trace)
    try:
        targets.run(name, data)
    finally:
        sys.settrace(None)
    return steps


def main() -> int:
    name, *folders = sys.argv[1:]
    inputs = [path.read_bytes() for folder in folders for path in Path(folder).iterdir() if path.is_file()]
    print(keep(name, inputs), "inputs kept")
    return 0


if __name__ == "__main__":
    sys.exit(main())
