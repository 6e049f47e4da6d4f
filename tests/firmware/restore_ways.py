"""The ways back, and the proof of each: the firmware starts both systems afterwards."""

import json
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.firmware.damages import Damage
from tests.firmware.restore_machine import FERNWICK, QUARRY, SYSTEMS, Dual, System
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
        """Fernwick Linux by itself, as usual; Quarry when it is asked for."""
        return self.by_itself == FERNWICK.name and bool(self.asked.get(QUARRY.name))

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


def tried(damage: Damage, way: str, folder: Path, *, before: bool = False) -> Tried:
    """The damage happens to a machine with a baseline, the way is gone, and the firmware starts."""
    dual = Dual.made(folder, full=damage.full)
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
    for number in _choices(entries, system.label, dual.places[system.name].path()):
        with dual.variables() as variables:
            variables.set("BootNext", struct.pack("<H", number))
        if _name(dual.start()) == system.name:
            return entries[number][0]
    return ""


def _choices(entries: dict[int, tuple[str, bytes]], label: str, disk: bytes) -> list[int]:
    """A system's own entries, then others for its disk, as firmware makes them: those that name it."""
    own = [number for number, (named, _) in entries.items() if named == label]
    others = [number for number, (_, path) in entries.items() if path.startswith(disk)]
    return [*own, *(number for number in others if number not in own)]


def _name(result: Result) -> str:
    """The system whose program switched the machine off; "" for none."""
    return result.programs[-1].event if result.end == "started" else ""


# the ways


def restore(dual: Dual) -> str:
    """`bootwatch restore --write`, as from a system that still starts."""
    return _write(dual, "restore", "--write", "--yes")


def _write(dual: Dual, *command: str) -> str:
    """Runs the command on the root; what it writes there goes to the machine."""
    dual.look()
    planned = json.loads(dual.bootwatch(command[0], "--json").stdout)
    done = dual.bootwatch(*command)
    if done.returncode != 0:
        raise WayFailed(done.stderr.strip().splitlines()[-1])
    dual.put_back()
    return "; ".join(f"{one['what']}: {one['why']}" for one in planned["left"])


WAYS: dict[str, Way] = {"restore": restore}
# Where a way can't, and why.
UNABLE: dict[tuple[str, str], str] = {
    ("a file where the loader's folder was", "restore"): "what somebody put there is his",
    (
        "loader replaced by another program, which gives up",
        "restore",
    ): "from outside it can't be told from an update",
}
