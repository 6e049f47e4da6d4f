"""One more route to a system, so that fewer losses stop it: what the rehearsal names, as steps. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bootwatch.judge.entries import parse_entry, read_order
from bootwatch.judge.mends import Mend, Sort, mends_for
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Effect, Rehearsal, Remedy, SystemRehearsal
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Circumstance, Snapshot, State
from bootwatch.model.variable import entry_number
from bootwatch.recover.harmless import in_harmless_order
from bootwatch.recover.steps import Step, WriteEntry, WriteFile, WriteOrder, after_all

_ENTRIES = (Sort.ENTRY_IN_ORDER, Sort.ENTRY, Sort.SECOND_ENTRY)

Points = tuple[tuple[str, str], ...]
"""Losses that do something to a system: each as a noun phrase, and what it does."""


@dataclass(frozen=True)
class SecondRoute:
    """``why_not`` says why there are no steps, as a clause. ``before`` and ``after`` are the single points of
    failure without and with them; ``sources`` where the contents of files to be copied lie now, by digest."""

    steps: tuple[Step, ...]
    why_not: str
    what: str
    now: Outlook
    then: Outlook
    before: Points
    after: Points
    sources: dict[str, tuple[str, str]] = field(default_factory=dict)


def second_route(snapshot: Snapshot, before: State | None, names: Naming, wanted: str) -> SecondRoute:
    """For the system of the name ``wanted``; ``before`` is a baseline's state, from which systems are learnt
    too. Nothing is put over a file that is there, and nothing keeps any system from starting."""
    return _Finder(snapshot.state, snapshot.gaps, before, names, snapshot.circumstance, wanted).found()


@dataclass(frozen=True)
class _Finder:
    state: State
    gaps: tuple[Gap, ...]
    before: State | None
    names: Naming
    circumstance: Circumstance
    wanted: str

    def found(self) -> SecondRoute:
        systems = self._systems(self.state)
        now = rehearse(self.state, self.gaps, systems, systems.running())
        one = _of(now, self.wanted)
        points = _points(now, one) if one else ()
        why_not = _why_not(one)
        for mend in self._candidates(now, one) if one and not why_not else ():
            steps = self._steps(mend, systems)
            made = self._made(steps, mend, now, points) if steps else None
            if made and _weight(made.after) < _weight(points):
                return made
        why_not = why_not or "nothing helps that leaves other systems' files and volumes alone" + (
            "; what it lost since the baseline is brought back without --add-route" if self.before else ""
        )
        return SecondRoute((), why_not, "", now.now, now.now, points, points)

    def _candidates(self, now: Rehearsal, one: SystemRehearsal) -> list[Mend]:
        """First what the rehearsal names, then entries that it finds needless beside that. A copy on a volume
        of others' is none: nobody keeps it up to date."""
        named = [remedy.mend for remedy in _best_first(one)]
        entries = [
            mend for mend in mends_for(self.state, self.gaps, now.now, one.outlook) if mend.sort in _ENTRIES
        ]
        return [*named, *entries]

    def _systems(self, *states: State) -> Systems:
        known = (*((self.before,) if self.before else ()), *states)
        return Systems.learn(known, self.names, self.circumstance)

    def _steps(self, mend: Mend, systems: Systems) -> list[Step]:
        """None where the mend would overwrite a file, or keep some system from starting."""
        steps = list(_between(self.state, mend.apply(self.state)))
        if any(isinstance(step, WriteFile) and step.over for step in steps):
            return []
        ordered, refused = in_harmless_order(self.state, self.gaps, systems, steps)
        return [] if refused else ordered

    def _made(self, steps: list[Step], mend: Mend, now: Rehearsal, points: Points) -> SecondRoute:
        state = after_all(self.state, steps)
        systems = self._systems(self.state, state)
        then = rehearse(state, self.gaps, systems, systems.running())
        one = _of(then, self.wanted)
        sources = dict(_sources(self.state, steps))
        after = _points(then, one) if one else ()
        return SecondRoute(tuple(steps), "", mend.what, now.now, then.now, points, after, sources)


def _of(rehearsal: Rehearsal, wanted: str) -> SystemRehearsal | None:
    return next((one for one in rehearsal.systems if one.outlook.name == wanted), None)


def _why_not(one: SystemRehearsal | None) -> str:
    if one is None:
        return "it is hidden, or lies on a disk that comes and goes"
    if not one.outlook.starts:
        return "it doesn't surely start now: see bootwatch restore"
    if not one.points:
        return "no single loss stops it"
    return "" if one.is_tried else "there is more here than on any usual machine: it was not worked out"


def _best_first(one: SystemRehearsal) -> list[Remedy]:
    """Those that remove most, the simplest first among equals."""
    own = (each for each in one.remedies if each.mend.sort is not Sort.COPY)
    return sorted(own, key=lambda each: (-len(each.removes), len(each.costs), each.mend.sort.effort))


def _weight(points: Points) -> int:
    """Of what all losses do; to lose a system weighs more than any number of lesser things."""
    return sum(10 ** (3 * (len(Effect) - Effect(effect).rank)) for _, effect in points)


def _points(rehearsal: Rehearsal, one: SystemRehearsal) -> Points:
    by_number = {each.number: each.loss.what for each in rehearsal.losses}
    return tuple((by_number[number], effect.value) for number, effect in one.points)


# what a mend does, as steps


def _between(before: State, after: State) -> Iterator[Step]:
    for identity, volume in after.volumes.items():
        for file in volume.files.values():
            former = before.volumes[identity].file(file.path)
            if not file.is_folder and file.sha256 and (former is None or former.sha256 != file.sha256):
                over = (former.sha256 or "?") if former else ""
                yield WriteFile(identity, file, over, "It starts from here where its other ways are lost.")
    for name, variable in after.variables.items():
        number, held = entry_number(name), before.variables.get(name)
        if number is not None and held != variable:
            entry = parse_entry(number, variable.data)
            why = "One more way for the firmware to come to it."
            yield WriteEntry(
                number, variable.data, entry.label if entry else "", held.data if held else None, why
            )
    old, new = read_order(before), read_order(after)
    if old != new:
        yield WriteOrder(tuple(new), tuple(old), "The firmware tries what its boot order lists.")


def _sources(state: State, steps: list[Step]) -> Iterator[tuple[str, tuple[str, str]]]:
    wanted = {step.file.sha256 for step in steps if isinstance(step, WriteFile)}
    for volume in state.volumes.values():
        for file in volume.files.values():
            if file.sha256 and file.sha256 in wanted and not file.is_folder:
                yield file.sha256, (volume.identity, file.path)
