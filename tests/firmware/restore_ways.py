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

from tests.firmware import tool
from tests.firmware.damages import Damage
from tests.firmware.process import MachineFailed
from tests.firmware.restore_machine import FERNWICK, SYSTEMS, Dual, System
from tests.firmware.shell_way import by_shell
from tests.firmware.starts.start import Result
from tests.firmware.variables import GLOBAL
from tests.firmware.volume import make_fat

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
    except (WayFailed, MachineFailed) as failed:
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


def shell(dual: Dual) -> str:
    """The kit's startup.nsh in the firmware's own shell, with no system at all."""
    said = [line.strip() for line in by_shell(dual).splitlines()]
    return "; ".join(line for line in said if any(words in line for words in _SHELL_LEAVES))


_SHELL_LEAVES = ("left as it is", "not found", "found twice", "NOT ", "no number is free", "Nothing of this")


def by_hand(dual: Dual) -> str:
    """What the sheet says to do by hand: standard tools alone, with what lies in the kit."""
    for system in SYSTEMS:
        _table_by_hand(dual, system)
        _files_by_hand(dual, system)
    with dual.variables() as variables:
        for file in sorted((dual.kit / "variables").glob("Boot[0O]*")):
            variables.set(file.name.removesuffix(f"-{GLOBAL}"), file.read_bytes()[4:])
    return ""


def _table_by_hand(dual: Dual, system: System) -> None:
    image = dual.image(system.name).path
    try:
        tool.run(["sfdisk", "--dump", image])
    except tool.ToolFailed:
        text = (dual.kit / f"tables/gpt-{system.disk.guid}.sfdisk").read_bytes()
        tool.run(["sfdisk", "--quiet", "--no-tell-kernel", image], stdin=text)


def _files_by_hand(dual: Dual, system: System) -> None:
    offset, size = system.disk.place(1)
    volume, own = dual.volume(system), dual.kit / f"volumes/gpt-{system.partition}"
    try:
        there = volume.list()
    except tool.ToolFailed:
        make_fat(dual.image(system.name).path, size, offset=offset)
        there = []
    files = {_path(file, own): file.read_bytes() for file in own.rglob("*") if file.is_file()}
    for in_the_way in there:
        if any(path.startswith(f"{in_the_way}\\") for path in files):
            volume.remove(in_the_way)
    volume.write(files)


def _path(file: Path, top: Path) -> str:
    return "\\" + str(file.relative_to(top)).replace("/", "\\")


WAYS: dict[str, Way] = {
    "restore": restore,
    "kit": kit,
    "shell": shell,
    "without": without_baseline,
    "hand": by_hand,
}
# These are for machines without a baseline, and know of entries only: files come back from nowhere.
UNPREPARED = {"without"}


@dataclass(frozen=True)
class Unable:
    """Why a way can't, and which one of the sheet brings both systems back instead; "" for none."""

    why: str
    instead: str


_GONE = Unable("it writes onto file systems that are there; a person makes them anew", "hand")
# In the shell there is no digest, and no path of an entry is followed.
_SHELL = {
    "another one of its size is taken for it, one of another size is left as an update's": (
        "loader cut off in the middle",
        "loader replaced by another program, which gives up",
        "loader replaced by the other system's",
        "loader and default file the other system's, and its entry first",
    ),
    "the entry is there, byte for byte; that its disk has left the port isn't seen": (
        "a disk on another port, whose entry names the port",
        "both disks on other ports, whose entries name them",
        "the two disks changed places, whose entries name them",
    ),
    "nothing on it tells what it was": ("partition re-created and formatted (new PARTUUID)",),
    "the firmware takes no order of an odd length, and nothing is ever dropped from it": (
        "the order cut off in the middle of a number",
    ),
}
UNABLE = {
    **{
        ("a file where the loader's folder was", way): Unable(
            "what somebody put there is left to him", "hand"
        )
        for way in ("restore", "kit", "shell")
    },
    **{
        (name, way): _GONE
        for name in (
            "boot volume overwritten at its beginning: no file system any more",
            "partition table gone, both copies; all else is there",
            "disk replaced by an empty one",
        )
        for way in ("restore", "kit", "shell")
    },
    **{(name, "shell"): Unable(why, "restore") for why, names in _SHELL.items() for name in names},
    ("the firmware's own entries put first", "without"): Unable(
        "what there is keeps its order, as nobody knows the usual one: a person chooses in the menu", ""
    ),
}


def can_try(damage: Damage, way: str) -> bool:
    """Whether the damage is any of that way's business."""
    if way == "hand":
        return any(name == damage.name and one.instead == way for (name, _), one in UNABLE.items())
    return damage.entries or way not in UNPREPARED
