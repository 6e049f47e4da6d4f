"""Records trials for the tests that start no machine.

    python -m tests.firmware.starts.record x64 ia32 aa64 losses images

makes the named samples anew: 300 random machines with x64 firmware, 30 with 32-bit, 30 with AArch64 firmware,
60 losses, 20 machines with their disks. Two are started side by side; x64 takes 15 to 25 minutes.

    python -m tests.firmware.starts.record look x64 ...

starts nothing: only bootwatch looks anew at the same machines, for when a snapshot holds more than it did.
"""

import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from itertools import count
from pathlib import Path
from typing import Protocol, TypeVar

from tests.firmware import tool
from tests.firmware.programs import Architecture
from tests.firmware.starts import images, losses, recordings
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.configuration import configuration
from tests.firmware.starts.images import Kept
from tests.firmware.starts.recordings import Recording
from tests.firmware.starts.root import look
from tests.firmware.starts.start import Result
from tests.firmware.starts.trial import FIRMWARES, Trial, write_disks
from tests.firmware.variables import NON_VOLATILE

TRIALS = {"x64": 300, "ia32": 30, "aa64": 30}
LOSSES, IMAGES = 60, 20
FIRST_LOSS, FIRST_IMAGE = 10_000, 20_000
# Rarely are there two entries of which either would start something.
KINDS = (*losses.KINDS, *["order-first"])
WORKERS = 2


class Made(Protocol):
    @property
    def seed(self) -> int: ...

    @property
    def result(self) -> Result: ...


M = TypeVar("M", bound=Made)


def tried(seed: int, architecture: Architecture) -> Recording:
    """The machine of that seed, looked at and started."""
    with tempfile.TemporaryDirectory(prefix="trial.") as folder:
        trial = Trial.of(configuration(seed, architecture), Path(folder))
        snapshot = trial.look()
        return Recording.of(seed, trial.features, snapshot, trial.start())


def lost(seed: int) -> Recording | None:
    """The machine of that seed, looked at, then harmed and started; None where it offers no such loss. What
    was asked for once only would hide the loss, and is none of a rehearsal's."""
    kind = KINDS[seed % len(KINDS)]
    plan = configuration(seed).usual()
    with tempfile.TemporaryDirectory(prefix="trial.") as folder:
        trial = Trial.of(plan, Path(folder))
        snapshot = trial.look()
        victim = losses.Victim(trial, snapshot.state, Chance(f"loss-{seed}"))
        loss = losses.choose(kind, victim)
        if loss is None:
            return None
        losses.happen(victim, loss)
        return Recording.of(seed, trial.features, snapshot, trial.start(), loss)


def kept(seed: int) -> Kept:
    """The machine of that seed with its disks, then started."""
    with tempfile.TemporaryDirectory(prefix="trial.") as folder:
        return Kept.of(Trial.of(configuration(seed), Path(folder)))


def side_by_side(make: Callable[[int], M | None], wanted: int, first: int = 0) -> Iterator[M]:
    """As many as are wanted, from the first seed on; but for those where the firmware itself died."""
    with ThreadPoolExecutor(WORKERS) as workers:
        seeds = count(first)
        while wanted > 0:
            batch = [next(seeds) for _ in range(min(wanted, 4 * WORKERS))]
            for made in workers.map(make, batch):
                if made is None or made.result.end == "died" or wanted == 0:
                    continue
                wanted -= 1
                yield made


def look_again(recording: Recording, architecture: Architecture) -> Recording:
    """The same machine's disks, made anew, with the variables that it had."""
    kept_variables = {
        name: variable.attributes.to_bytes(4, "little") + variable.data
        for name, variable in recording.state.variables.items()
        if variable.attributes & NON_VOLATILE
    }
    with tempfile.TemporaryDirectory(prefix="trial.") as name:
        folder = Path(name)
        disks = write_disks(configuration(recording.seed, architecture), folder)
        snapshot = look(folder / "root", disks, kept_variables, architecture)
    return replace(recording, state=snapshot.state, gaps=snapshot.gaps)


def main(names: list[str]) -> int:
    """Makes the named samples."""
    again = names[:1] == ["look"]
    for name in names[1:] if again else names:
        if name == "images":
            path = images.write(list(side_by_side(kept, IMAGES, FIRST_IMAGE)))
        else:
            architecture = Architecture.X64 if name == "losses" else Architecture(name.upper())
            made = _looked(name, architecture) if again else _recorded(name, architecture)
            path = recordings.write(name, about(architecture), made)
        print(f"{path}: {path.stat().st_size} bytes", flush=True)
    return 0


def _recorded(name: str, architecture: Architecture) -> list[Recording]:
    if name == "losses":
        return list(side_by_side(lost, LOSSES, FIRST_LOSS))
    return list(side_by_side(partial(tried, architecture=architecture), TRIALS[name]))


def _looked(name: str, architecture: Architecture) -> list[Recording]:
    return [look_again(one, architecture) for one in recordings.read(name)]


def about(architecture: Architecture) -> str:
    """What the sample was made with."""
    owner = tool.run(["dpkg-query", "--search", FIRMWARES[architecture].code]).decode().split(":")[0]
    package = tool.run(["dpkg-query", "--show", "--showformat=${Package} ${Version}", owner]).decode()
    return f"Made by python -m tests.firmware.starts.record with {package}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
