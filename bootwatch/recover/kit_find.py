"""Finding the right kit: one that is named, or that of this machine among several side by side."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.model.snapshot import State
from bootwatch.problem import Problem, UsageProblem
from bootwatch.recover.kit import NewerKit, is_kit, read_about
from bootwatch.recover.kit_files import files_at
from bootwatch.recover.kit_match import Match, match

_MOST = 500
_CLEARLY = 20  # points


@dataclass(frozen=True)
class Candidate:
    """One kit by what it says of itself, and how well it fits the machine that is looked at."""

    place: Path
    about: dict[str, Any]
    match: Match

    @property
    def words(self) -> str:
        return f"{self.place}: {self.about['machine']}, {self.about['made']}; {self.match.words}"


def find(place: Path, now: State, *, insists: bool = False) -> Candidate:
    """The kit at ``place``, or the one of this machine below it. Raises UsageProblem where it is another
    machine's (unless it is named itself and somebody ``insists``), or more than one would do as well."""
    if is_kit(place):
        return _named(place, now, insists)
    if not place.is_dir():
        raise UsageProblem(f"There is no recovery kit {place}.", "Name its folder, its zip, or the stick.")
    found = candidates(place, now)
    if not found:
        raise UsageProblem(f"There is no recovery kit in {place}.", "Name its folder, its zip, or the stick.")
    return _best(place, found)


def _named(place: Path, now: State, insists: bool) -> Candidate:
    found = Candidate(place, about := read_about(files_at(place)), match(about, now))
    if not found.match.is_possible and not insists:
        raise UsageProblem(
            f"The kit {place} is of another machine ({about['machine']}): {found.match.words}.",
            "Nothing was changed. Name the kit of this machine.",
        )
    return found


def candidates(folder: Path, now: State) -> list[Candidate]:
    """Every kit right below a folder, the best first; damaged ones are passed over here.

    Raises NewerKit where it may be one of those that it can't read."""
    found, newer = [], []
    for place in sorted(folder.iterdir())[:_MOST]:
        if place.name.startswith(".") or not is_kit(place):
            continue
        try:
            about = read_about(files_at(place))
        except NewerKit as one:
            newer.append(one)
            continue
        except Problem:
            continue
        found.append(Candidate(place, about, match(about, now)))
    if newer and not any(one.match.is_sure for one in found):
        raise newer[0]
    return sorted(found, key=lambda one: (-one.match.points, -one.about["serial"]))


def _best(place: Path, found: list[Candidate]) -> Candidate:
    best = found[0]
    said = "\n".join(f"  {one.words}" for one in found[:8])
    if not best.match.is_sure:
        raise UsageProblem(
            f"None of the kits in {place} is surely of this machine; nothing was changed.",
            f"{said}\nIf one of them is, name it itself.",
        )
    rivals = [one for one in found[1:] if best.match.points - one.match.points < _CLEARLY]
    for one in rivals:
        is_older = _machine(one) == _machine(best) and one.about["serial"] < best.about["serial"]
        is_same = one.about["baseline"]["digest"] == best.about["baseline"]["digest"]
        if not (is_older or is_same):
            raise UsageProblem(
                f"More than one kit in {place} fits this machine; nothing was changed.",
                f"{said}\nName the right one itself.",
            )
    return best


def _machine(one: Candidate) -> str:
    return str(one.about["machine_id"] or one.about["machine"])
