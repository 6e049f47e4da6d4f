"""Inputs that are kept: `corpus/FORMAT.zip`, which earlier fuzzing found to reach different code, and
`samples/FORMAT/`, each of which once showed a fault and is named after it.

Usage: python -m tests.fuzz.corpus FORMAT FOLDER    keeps a folder's inputs as the corpus of a format
"""

import sys
import zipfile
from pathlib import Path

HERE = Path(__file__).parent
_LARGEST = 16 << 10
_MOST = 200
_TIME = (2000, 1, 1, 0, 0, 0)


def kept(name: str) -> list[bytes]:
    path = HERE / "corpus" / f"{name}.zip"
    if not path.exists():
        return []
    with zipfile.ZipFile(path) as archive:
        return [archive.read(one) for one in archive.namelist()]


def samples(name: str) -> dict[str, bytes]:
    folder = HERE / "samples" / name
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())} if folder.is_dir() else {}


def keep(name: str, folder: Path) -> int:
    """Store the smallest inputs; the same inputs give the same archive."""
    inputs = sorted({path.read_bytes() for path in folder.iterdir()}, key=lambda data: (len(data), data))
    inputs = [data for data in inputs if len(data) <= _LARGEST][:_MOST]
    with zipfile.ZipFile(HERE / "corpus" / f"{name}.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for number, data in enumerate(inputs):
            archive.writestr(zipfile.ZipInfo(f"{number:03}", _TIME), data, zipfile.ZIP_DEFLATED, 9)
    return len(inputs)


if __name__ == "__main__":
    print(keep(sys.argv[1], Path(sys.argv[2])), "inputs kept")
