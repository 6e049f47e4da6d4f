"""Records what the firmware prints for made device paths, for the tests that start no machine.

    python -m tests.firmware.record_paths

writes tests/formats/samples/device_path_made.json anew: several paths of one node for each type of the
standard, then longer ones, made by tests/formats/made_paths.py from a fixed seed.
"""

import json
import sys
import tempfile
from pathlib import Path
from random import Random

from tests.firmware import firmware, texts, tool
from tests.formats import made_paths

TARGET = Path(__file__).parents[1] / "formats" / "samples" / "device_path_made.json"
SEED = 20251
OF_EACH_TYPE = 7
LONGER = 60


def paths() -> list[bytes]:
    """The paths to record, always the same."""
    random = Random(SEED)
    single = [
        made_paths.node(*kind, maker(random)) + made_paths.END
        for kind, maker in made_paths.NODES.items()
        for _ in range(OF_EACH_TYPE)
    ]
    return list(dict.fromkeys(single)) + [made_paths.make(random) for _ in range(LONGER)]


def package() -> str:
    """The firmware's package and version."""
    owner = tool.run(["dpkg-query", "--search", firmware.X64.code]).decode().split(":")[0]
    return tool.run(["dpkg-query", "--show", "--showformat=${Package} ${Version}", owner]).decode()


def main() -> int:
    """Asks the firmware and writes the file."""
    made = paths()
    with tempfile.TemporaryDirectory(prefix="texts.") as folder:
        answers = texts.printed(Path(folder), made)
    about = (
        "Device paths from tests/formats/made_paths.py, and their text as the Device Path To Text protocol "
        f"of {package()} printed them (DisplayOnly and AllowShortcuts false). "
        "Made by: python -m tests.firmware.record_paths"
    )
    rows = ",\n".join(
        json.dumps([path.hex(), text], ensure_ascii=False) for path, text in zip(made, answers, strict=True)
    )
    TARGET.write_text(
        f'{{"about": {json.dumps(about)},\n"paths": [\n{rows}\n]}}\n',
        encoding="utf-8",
    )
    print(f"{TARGET}: {len(made)} paths")
    return 0


if __name__ == "__main__":
    sys.exit(main())
