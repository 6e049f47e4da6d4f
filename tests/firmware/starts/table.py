"""How many of the recorded starts were foreseen, by what is peculiar about the machine.

python -m tests.firmware.starts.table
"""

import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from bootwatch.judge.startup import simulate
from tests.firmware.starts import images, recordings
from tests.firmware.starts.agreement import disagreement
from tests.firmware.starts.losses import foreseen
from tests.firmware.starts.recordings import Recording

NAMES = ("x64", "ia32", "aa64", "losses")


@dataclass
class Table:
    """Machines with a feature, those of them that agreed, and those where the prediction was certain."""

    all: Counter[str] = field(default_factory=Counter)
    agreed: Counter[str] = field(default_factory=Counter)
    certain: Counter[str] = field(default_factory=Counter)

    def add(self, recording: Recording, name: str) -> None:
        state = foreseen(recording.state, recording.loss) if recording.loss else recording.state
        features = [f"= {name}", *recording.features, f"ended: {_end(recording)}"]
        features += [f"loss: {recording.loss['kind']}"] if recording.loss else []
        self.all.update(features)
        if disagreement(state, recording.gaps, recording.result) is None:
            self.agreed.update(features)
        if simulate(state, recording.gaps).next_start.certain:
            self.certain.update(features)

    def lines(self) -> Iterable[str]:
        width = max(map(len, self.all))
        yield f"{'':{width}}  machines  agreed  certain"
        for feature in sorted(self.all):
            counts = self.all[feature], self.agreed[feature], self.certain[feature]
            yield f"{feature:{width}}  {counts[0]:8}  {counts[1]:6}  {counts[2]:7}"


def _end(recording: Recording) -> str:
    left = sum(program.event == "left" for program in recording.result.programs)
    return recording.result.end + (f", {left} gave the start back" if left else "")


def main() -> int:
    """Prints it."""
    table = Table()
    for name in NAMES:
        for recording in recordings.read(name):
            table.add(recording, name)
    print("\n".join(table.lines()))
    print(f"{len(images.seeds())} more machines are kept with their disks.")
    return 0 if table.agreed == table.all else 1


if __name__ == "__main__":
    sys.exit(main())
