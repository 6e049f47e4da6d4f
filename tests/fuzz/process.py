"""One process of coverage-guided fuzzing.

Usage: python -m tests.fuzz.process FORMAT [libFuzzer's arguments and folders of inputs]
"""

import struct
import sys

import atheris

with atheris.instrument_imports(include=["bootwatch.formats"]):
    from tests.fuzz import targets
from tests.fuzz.limits import limited, peak

# Counting what code is reached makes it slower by about this.
_SLOWNESS = 5.0
_MOST_BLOCKS = 64 << 11


def _smaller(data: bytes) -> bytes:
    """A volume of 64 MiB at most: a few that claim to be huge, each almost a second, would take all the time.
    The costly ones have tests of their own.
    """
    size = min(int.from_bytes(data[:4], "little"), _MOST_BLOCKS)
    return struct.pack("<I", size) + data[4:]


def main() -> None:
    name = sys.argv.pop(1)
    before: list[int] = []

    def one(data: bytes) -> None:
        if not before:
            before.append(peak())
        with limited(_SLOWNESS, before[0]):
            targets.run(name, _smaller(data) if name == "fat" else data)

    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
