"""Whether what the firmware did is what was foreseen from the state before."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from bootwatch.judge.entries import entry_name, parse_entry, variable_of
from bootwatch.judge.ground import Place
from bootwatch.judge.startup import By, Candidate, NextStart, Startup, simulate
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume
from tests.firmware.starts import nodes
from tests.firmware.starts.entries import AUTOMATIC
from tests.firmware.starts.places import PLACES, sysfs
from tests.firmware.starts.start import Program, Result

_PATH = re.compile(r"(PciRoot\(0x0\)(?:/(?!HD\()\w+\([^)]*\))*)(?:/HD\((\d+),[^)]*\))?/(.*)", re.DOTALL)
_SHORT_NAME = re.compile(r"~\d")


@dataclass(frozen=True)
class Seen:
    """Where a program was loaded from: the volume's identity, the file's folded path, BootCurrent's entry."""

    volume: str
    file: str
    entry: str | None

    @property
    def place(self) -> Place:
        return self.volume, self.file


def seen(state: State, program: Program) -> Seen | None:
    """Found in the state by the disk's place and the partition's number; None where it isn't there."""
    match = _PATH.fullmatch(program.path)
    if match is None:
        raise ValueError(f"a path of another kind: {program.path}")
    device, number, text = match.groups()
    address = _addresses()[device]
    for volume in state.volumes.values():
        if state.disks[volume.disk].address == address and volume.number == (int(number) if number else None):
            entry = entry_name(int(program.current, 16)) if program.current else None
            return Seen(volume.identity, _file(volume, text), entry)
    return None


@cache
def _addresses() -> dict[str, str]:
    """Places on the buses by the firmware's names: what the kernel calls them."""
    found = {}
    for place in PLACES:
        record = sysfs()[place.name]
        link = record["link"].removeprefix("../../devices/")
        found[place.text] = link.removesuffix(f"/{record['name']}").removesuffix("/block")
    return found


def _file(volume: Volume, text: str) -> str:
    """The firmware prints nodes with a slash between them; a short name is found by what it stands for."""
    names = [name for name in text.replace("/", "\\").split("\\") if name]
    path = fold("\\" + "\\".join(names))
    if not _SHORT_NAME.search(path):
        return path
    likely = [known for known in volume.by_folded_path if _stands_for(path, known)]
    return likely[0] if len(likely) == 1 else path


def _stands_for(short: str, known: str) -> bool:
    ones, others = short.split("\\"), known.split("\\")
    return len(ones) == len(others) and all(
        one == other or ("~" in one and other.replace(" ", "").startswith(one.partition("~")[0]))
        for one, other in zip(ones, others, strict=True)
    )


def disagreement(state: State, gaps: tuple[Gap, ...], result: Result) -> str | None:
    """What was foreseen otherwise; None where all agrees. Each program that gave the start back is known as
    such from then on: nobody can foresee that."""
    failing: set[Place] = set()
    for program in result.programs:
        there = seen(state, program)
        if there is None:
            return f"{program.path} ran, and no volume of the snapshot is there"
        foreseen = simulate(state, gaps, failing=frozenset(failing))
        if there.place in failing:
            if not _is_passed(foreseen, there):
                return f"{there} was tried again, and that was not foreseen"
        elif not any(_is(state, one, there) for one in _candidates(foreseen.next_start)):
            return f"{there} ran, foreseen was {_told(foreseen.next_start)}"
        failing.add(there.place)
    foreseen = simulate(state, gaps, failing=frozenset(failing - _last(state, result)))
    if result.end != "started" and not any(
        _is_end(state, one, result) for one in _candidates(foreseen.next_start)
    ):
        return f"it ended in {result.end} ({result.entry}), foreseen was {_told(foreseen.next_start)}"
    return _trail_disagreement(state, foreseen, result)


def _last(state: State, result: Result) -> set[Place]:
    """What ran at last and didn't give the start back."""
    there = seen(state, result.programs[-1]) if result.end == "started" else None
    return {there.place} if there else set()


def _is_passed(foreseen: Startup, there: Seen) -> bool:
    """A second entry, or the order's second naming of one, leads to a program that gave the start back."""
    return any(landing.place == there.place for step in foreseen.trail for landing in step.landings)


def _trail_disagreement(state: State, foreseen: Startup, result: Result) -> str | None:
    """The own entries that the firmware says it tried, against those that the trail says it tries."""
    if not foreseen.next_start.certain or foreseen.next_start.by is By.SETUP:
        return None
    tried = _once(try_.split(" Boot")[1][:4] for try_ in result.tries if " Boot" in try_)
    told = [f"Boot{name}" for name in tried if _is_own(state, f"Boot{name}")]
    expected = _once(step.entry for step in foreseen.trail if step.entry and step.landings)
    expected = [name for name in expected if _is_own(state, name) and not _is_silent(state, name)]
    return None if told == expected else f"it tried {told}, foreseen were {expected}"


def _once(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))


def _is_silent(state: State, name: str) -> bool:
    """A path for a legacy BIOS is passed over without a word."""
    return state.variables[variable_of(int(name[4:], 16))].data.find(nodes.bbs()) >= 0


def is_certain(state: State, gaps: tuple[Gap, ...]) -> bool:
    return simulate(state, gaps).next_start.certain


def _candidates(foreseen: NextStart) -> Iterator[Candidate]:
    if foreseen.certain or not foreseen.candidates:
        yield Candidate(foreseen.by, foreseen.entry, foreseen.volume, foreseen.partition, foreseen.file)
    else:
        yield from foreseen.candidates


def _is(state: State, foreseen: Candidate, there: Seen) -> bool:
    if (foreseen.volume, fold(foreseen.file or "")) != (there.volume, there.file):
        return False
    if foreseen.entry:
        return foreseen.entry == there.entry
    return there.entry is None or not _is_own(state, there.entry)


def _is_own(state: State, entry: str) -> bool:
    """Whether it stood in the state, and not as one of those that the firmware makes and makes again."""
    number = int(entry[4:], 16)
    variable = state.variables.get(variable_of(number))
    if variable is None or parse_entry(number, variable.data) is None:
        return False
    return not variable.data.endswith(AUTOMATIC)


def _is_end(state: State, foreseen: Candidate, result: Result) -> bool:
    """The firmware's own: an entry of the state that leads there, its setup, or nothing that it brings."""
    if result.entry and _is_own(state, result.entry) and foreseen.by is not By.SETUP:
        return (foreseen.entry, foreseen.volume) == (result.entry, None)
    if foreseen.by is By.SETUP:
        return result.end == "setup"
    return foreseen.by is By.NOTHING


def _told(foreseen: NextStart) -> str:
    return " or ".join(f"{one.by} {one.entry} {one.volume} {one.file}" for one in _candidates(foreseen))
