"""The ways back, and the proof of each: the firmware starts both systems afterwards."""

import json
import shutil
import struct
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from subprocess import CompletedProcess

from tests.firmware.damages import Damage
from tests.firmware.restore_machine import FERNWICK, SYSTEMS, Dual, System
from tests.firmware.starts.start import Result

Way = Callable[[Dual], str]
"""Brings the systems back as far as it goes; what it says that it leaves, "" for nothing."""


class WayFailed(Exception):
    """The way stopped, with its last words."""


@dataclass(frozen=True)
class Proof:
    """What the real firmware started: by itself, and when asked for each system that is named; by entry."""

    by_itself: str
    asked: dict[str, str]

    @property
    def both(self) -> bool:
        """Whether each system starts, by itself or when it is asked for."""
        return bool(self.by_itself) and all(self.asked.values())

    @property
    def as_usual(self) -> bool:
        """Both, and Fernwick Linux by itself."""
        return self.both and self.by_itself == FERNWICK.name

    def __str__(self) -> str:
        others = [f'{name} by "{entry.strip()}"' for name, entry in self.asked.items() if entry]
        return ", ".join([f"{self.by_itself or 'nothing'} by itself", *others])


@dataclass(frozen=True)
class Tried:
    """One damage and one way: how it started `before` and `after`; `left` is what the way did not undo."""

    damage: str
    way: str
    before: Proof | None
    after: Proof
    left: str
    seconds: float

    @property
    def is_back(self) -> bool:
        """Both systems start; which of them is usual, a way that knows no baseline doesn't know."""
        return self.after.both if self.way in UNPREPARED else self.after.as_usual


def tried(damage: Damage, way: str, folder: Path, *, before: bool = False) -> Tried:
    """The damage happens to a machine with a baseline and a kit, or to one that nobody prepared, which has no
    default files to fall back on; then the way is gone, and the firmware starts."""
    is_prepared = way not in UNPREPARED
    dual = Dual.made(folder, full=damage.full, defaults=is_prepared)
    if is_prepared:
        dual.save_baseline()
    damage.do(dual)
    was = proof(dual) if before else None
    began = time.monotonic()
    try:
        left = WAYS[way](dual)
    except WayFailed as failed:
        left = f"it failed: {failed}"
    seconds = time.monotonic() - began
    return Tried(damage.name, way, was, proof(dual), left, seconds)


def proof(dual: Dual) -> Proof:
    """Starts the machine as it is, then once for each system that did not start; all is as it was then."""
    with dual.unchanged():
        first = _name(dual.start())
        asked = {system.name: _asked(dual, system) for system in SYSTEMS if system.name != first}
    return Proof(first, asked)


def _asked(dual: Dual, system: System) -> str:
    """The entry by which the system starts when a person chooses it in the firmware's menu; "" for none."""
    with dual.variables() as variables:
        entries = variables.entries()
    for number in _choices(entries, system, dual.places[system.name].path()):
        with dual.variables() as variables:
            variables.set("BootNext", struct.pack("<H", number))
        if _name(dual.start()) == system.name:
            return entries[number][0]
    return ""


def _choices(entries: dict[int, tuple[str, bytes]], system: System, disk: bytes) -> list[int]:
    """A system's own entries by their label, then others for its partition or its disk."""
    own = [number for number, (label, _) in entries.items() if label == system.label]
    partition = uuid.UUID(system.partition).bytes_le
    others = [number for number, (_, path) in entries.items() if partition in path or path.startswith(disk)]
    return [*own, *(number for number in others if number not in own)]


def _name(result: Result) -> str:
    """The system whose program switched the machine off; "" for none."""
    return result.programs[-1].event if result.end == "started" else ""


# the ways


def restore(dual: Dual) -> str:
    """`bootwatch restore --write`, as from a system that still starts."""
    return _write(dual, dual.bootwatch, "restore")


def kit(dual: Dual) -> str:
    """The kit's program, as from a live system that has nothing but Python."""
    shutil.rmtree(dual.root / "var")
    return _write(dual, dual.kits_program, "restore", "--kit", ".")


def without_baseline(dual: Dual) -> str:
    """`bootwatch restore --without-baseline`, on a machine that nobody prepared."""
    return _write(dual, dual.bootwatch, "restore", "--without-baseline")


def _write(dual: Dual, run: Callable[..., CompletedProcess[str]], *command: str) -> str:
    """Runs the command on the root; what it writes there goes to the machine. Where it finds nothing lost, a
    person names what it offers to undo besides."""
    dual.look()
    planned = json.loads(run(*command, "--json").stdout or "{}")
    if planned and not planned["steps"]:
        offered = [one["id"] for one in planned["left"] if f"--also {one['id']}" in one["why"]]
        command = (*command, *(word for own in offered for word in ("--also", own)))
    done = run(*command, "--write", "--yes")
    if done.returncode != 0:
        raise WayFailed(done.stderr.strip().splitlines()[0])
    dual.put_back()
    return "; ".join(f"{one['what']}: {one['why']}" for one in planned["left"])


WAYS: dict[str, Way] = {"restore": restore, "kit": kit, "without": without_baseline}
# These are for machines without a baseline, and know of entries only: files come back from nowhere.
UNPREPARED = {"without"}
# Where a way can't, and why.
UNABLE = {
    **{
        ("a file where the loader's folder was", way): "what somebody put there is left to him"
        for way in ("restore", "kit")
    },
    (
        "the firmware's own entries put first",
        "without",
    ): "what there is keeps its order, as nobody knows the usual one: a person chooses in the menu",
}


def can_try(damage: Damage, way: str) -> bool:
    """Whether the damage is any of that way's business."""
    return damage.entries or way not in UNPREPARED
