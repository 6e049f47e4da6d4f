"""Whether what the firmware did is what was foreseen from the state before."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from bootwatch.judge.entries import Entry, entry_name, parse_entry, read_next, read_order, variable_of
from bootwatch.judge.ground import Place
from bootwatch.judge.startup import By, Candidate, Outcome, Startup, simulate
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume
from tests.firmware.programs import Architecture
from tests.firmware.starts import nodes
from tests.firmware.starts.entries import AUTOMATIC
from tests.firmware.starts.places import address, places
from tests.firmware.starts.start import Program, Result

_PATH = re.compile(r"(PciRoot\(0x0\)(?:/(?!HD\()\w+\([^)]*\))*)(?:/HD\((\d+),[^)]*\))?/(.*)", re.DOTALL)
_TRIED = re.compile(r'[a-z ]+ (Boot[0-9A-F]{4}) "(.*?)" from ')
RECOVERY = "Default PlatformRecovery"
_SHORT_NAME = re.compile(r"~\d")


@dataclass(frozen=True)
class Seen:
    """Where a program was loaded from: the volume's identity, the file's folded path (as the option spelled
    it, and in full where that is a short name), BootCurrent's entry."""

    volume: str
    spelled: str
    file: str
    entry: str | None

    @property
    def places(self) -> set[Place]:
        return {(self.volume, self.spelled), (self.volume, self.file)}


def seen(state: State, program: Program) -> Seen | None:
    """Found in the state by the disk's place and the partition's number; None where it isn't there."""
    match = _PATH.fullmatch(program.path)
    if match is None:
        raise ValueError(f"a path of another kind: {program.path}")
    device, number, text = match.groups()
    at = _addresses(state)[device]
    for volume in state.volumes.values():
        if state.disks[volume.disk].address == at and volume.number == (int(number) if number else None):
            entry = entry_name(int(program.current, 16)) if program.current else None
            path = _path(text)
            return Seen(volume.identity, path, _file(volume, path), entry)
    return None


def _addresses(state: State) -> dict[str, str]:
    """Places on the buses by the firmware's names: what the kernel calls them."""
    of = Architecture.AA64 if state.facts["architecture"] == "aarch64" else Architecture.X64
    return _addresses_of(of)


@cache
def _addresses_of(architecture: Architecture) -> dict[str, str]:
    return {place.text: address(place, architecture) for place in places(architecture)}


def _path(text: str) -> str:
    """The firmware prints nodes with a slash between them."""
    return fold("\\" + "\\".join(name for name in text.replace("/", "\\").split("\\") if name))


def _file(volume: Volume, path: str) -> str:
    """A short name is found by what it stands for."""
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
    labels = _labels(result, "starting")
    for program in result.programs:
        there = seen(state, program)
        if there is None:
            return f"{program.path} ran, and no volume of the snapshot is there"
        foreseen = simulate(state, gaps, failing=frozenset(failing))
        if there.places & failing:
            if not _is_passed(foreseen, there):
                return f"{there} was tried again, and that was not foreseen"
        elif not any(_is(state, one, there, labels) for one in _candidates(foreseen)):
            return f"{there} ran, foreseen was {_told(foreseen)}"
        failing |= there.places
    foreseen = simulate(state, gaps, failing=frozenset(failing - _last(state, result)))
    is_end = any(_is_end(state, one, result) for one in _candidates(foreseen))
    if result.end != "started" and not is_end and not _is_shell_first(foreseen, result):
        return f"it ended in {result.end} ({result.entry}), foreseen was {_told(foreseen)}"
    return _trail_disagreement(state, foreseen, result)


def _labels(result: Result, how: str = "") -> dict[str, str]:
    """Labels of the entries that the firmware says it tried, or only of those that it started."""
    matches = (_TRIED.match(text) for text in result.tries if text.startswith(how))
    return {match[1]: match[2] for match in matches if match}


def _last(state: State, result: Result) -> set[Place]:
    """What ran at last and didn't give the start back."""
    there = seen(state, result.programs[-1]) if result.end == "started" else None
    return there.places if there else set()


def _is_passed(foreseen: Startup, there: Seen) -> bool:
    """A second entry, or the order's second naming of one, leads to a program that gave the start back."""
    return any(landing.place in there.places for step in foreseen.trail for landing in step.landings)


def _trail_disagreement(state: State, foreseen: Startup, result: Result) -> str | None:
    """The own entries that the firmware says it tried, against those that the trail says it tries."""
    if not foreseen.next_start.certain or foreseen.next_start.by is By.SETUP:
        return None
    labels = _labels(result).items()
    told = [name for name, label in labels if _is_own(state, name, label) and _is_listed(state, name)]
    expected = _once(step.entry for step in foreseen.trail if step.entry and step.landings)
    expected = [name for name in expected if _own(state, name) and not _is_silent(state, name)]
    return None if told == expected else f"it tried {told}, foreseen were {expected}"


def _once(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))


def _is_silent(state: State, name: str) -> bool:
    """A path for a legacy BIOS is passed over without a word."""
    return state.variables[variable_of(int(name[4:], 16))].data.find(nodes.bbs()) >= 0


def is_certain(state: State, gaps: tuple[Gap, ...]) -> bool:
    return simulate(state, gaps).next_start.certain


def _candidates(foreseen: Startup) -> Iterator[Candidate]:
    """All that may run; nothing too, where nothing that is tried surely starts."""
    following = foreseen.next_start
    yield Candidate(following.by, following.entry, following.volume, following.file)
    yield from following.candidates
    if not any(step.outcome is Outcome.STARTS for step in foreseen.trail):
        yield Candidate(By.NOTHING)


def _is(state: State, foreseen: Candidate, there: Seen, labels: dict[str, str]) -> bool:
    if foreseen.volume != there.volume or fold(foreseen.file or "") not in (there.file, there.spelled):
        return False
    # BootCurrent may still name an entry that was tried before recovery: the console says which were started.
    entry = there.entry if there.entry in labels else None
    if foreseen.entry or entry is None:
        return foreseen.entry == entry
    return not _is_own(state, entry, labels[entry])


def _own(state: State, entry: str) -> Entry | None:
    """The entry of the state, unless it is one of those that the firmware makes and makes again."""
    number = int(entry[4:], 16)
    variable = state.variables.get(variable_of(number))
    if variable is None or variable.data.endswith(AUTOMATIC):
        return None
    return parse_entry(number, variable.data)


def _is_own(state: State, entry: str, label: str) -> bool:
    """Whether an entry that was tried stood in the state: the firmware gives away numbers that are not in the
    order. The console shows "?" for other than ASCII."""
    own = _own(state, entry)
    return own is not None and label == "".join(one if one.isascii() else "?" for one in own.label)


def _is_listed(state: State, entry: str) -> bool:
    """Others the firmware may add again by itself, behind all that are in the order."""
    number = int(entry[4:], 16)
    return number in read_order(state) or number == read_next(state)


def _is_end(state: State, foreseen: Candidate, result: Result) -> bool:
    """The firmware's own: an entry of the state that leads there, its setup, or nothing that it brings. What
    it adds by itself behind all others is no entry of the state."""
    if foreseen.by is By.SETUP:
        return result.end == "setup"
    entry = result.entry
    if entry and _is_own(state, entry, _labels(result)[entry]) and _is_listed(state, entry):
        return (foreseen.entry, foreseen.volume) == (entry, None)
    return foreseen.by is By.NOTHING


def _is_shell_first(foreseen: Startup, result: Result) -> bool:
    """Before recovery comes a shell that the firmware brings with it, if it has one; where no variable names
    it, as on a machine that never started, a snapshot can't tell."""
    open_steps = (step for step in foreseen.trail if step.outcome is not Outcome.PASSED)
    return result.end == "shell" and any(step.label == RECOVERY for step in open_steps)


def _told(foreseen: Startup) -> str:
    return " or ".join(f"{one.by} {one.entry} {one.volume} {one.file}" for one in _candidates(foreseen))
