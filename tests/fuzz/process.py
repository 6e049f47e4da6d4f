"""One process of coverage-guided fuzzing.

Usage: python -m tests.fuzz.process FORMAT [libFuzzer's arguments and folders of inputs]
"""

import sys

import atheris

with atheris.instrument_imports(include=["bootwatch.formats"]):
    from tests.fuzz import targets
from tests.fuzz.limits import limited, peak

# Counting what code is reached makes it slower by about this.
_SLOWNESS = 5.0


def main() -> None:
    name = sys.argv.pop(1)
    before: list[int] = []

    def one(data: bytes) -> None:
        if not before:
            before.append(peak())
        with limited(_SLOWNESS, before[0]):
            targets.run(name, data)

    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
