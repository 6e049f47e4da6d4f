"""What a restore would do: steps worked out from baseline and snapshot, and what starts after them. Pure."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.adopted_entries import leads_nowhere, merged
from bootwatch.judge.altered import usual
from bootwatch.judge.entries import read_next, read_order, variable_of
from bootwatch.judge.outlook import How, Outlook, outlook
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change, Drift
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.model.volume import Volume
from bootwatch.recover.numbers import as_before, free_number, renumbered, with_number
from bootwatch.recover.steps import ClearNext, Step, WriteEntry, WriteFile, WriteOrder, after_all

HasCopy = Callable[[str], bool]
"""Whether a copy of the content with this SHA-256 was kept."""

_MENDED = ("entry-inactive", "entry-retargeted", "entry-data-changed")
_FILES = ("loader-missing", "loader-emptied", "loader-changed", "file-missing", "file-changed")
_BY_HAND = {
    "partition-retyped": "a partition's type is set by hand: firmware starts from it all the same",
    "partition-renumbered": "the partition table is mended by hand, with the disk's owner",
    "partition-reidentified": "the partition's identifier is another one: its entry is made anew by hand",
    "volume-missing": "the boot volume isn't there: attach its disk, or make its file system anew",
    "volume-reformatted": "the file system is a new one; what lay on it is put back where a copy was kept",
    "secure-boot-switched": "Secure Boot is switched in the firmware's own setup",
    "keys-changed": "keys are authenticated: only their owner can put them back",
    "firmware-updated": "a firmware update is not undone",
    "timeout-changed": "it takes no way of starting away",
}
_WHYS = {
    "entry-missing": "The entry is gone.",
    "entry-inactive": "The firmware passes the entry over, since it is switched off.",
    "entry-retargeted": "The entry leads somewhere else.",
    "entry-data-changed": "What the entry hands to its loader is another.",
    "loader-missing": "The loader is gone.",
    "loader-emptied": "The loader is empty.",
    "loader-changed": "The loader is another one.",
    "file-missing": "The file is gone.",
    "file-changed": "The file is another one.",
}


@dataclass(frozen=True)
class Left:
    """A change that is not undone, and why: a clause."""

    change: Change
    why: str


@dataclass(frozen=True)
class Plan:
    """``now`` and ``then`` are the outlooks before and after the steps; ``state`` is what would be then."""

    steps: tuple[Step, ...]
    left: tuple[Left, ...]
    now: Outlook
    then: Outlook
    state: State

    @property
    def is_better(self) -> bool:
        """Whether some system starts then, or by itself, that doesn't now; or what starts next is another."""
        now = {one.system.key: _rank(one.how) for one in self.now.systems}
        gains = any(_rank(one.how) > now.get(one.system.key, 0) for one in self.then.systems)
        return gains or self.now.next_start.place != self.then.next_start.place


def _rank(how: How) -> int:
    return [How.NOT_AT_ALL, How.UNKNOWN, How.ON_REQUEST, How.BY_ITSELF].index(how)


def plan(
    sides: Sides, snapshot: Snapshot, drift: Drift, has_copy: HasCopy, only: Collection[str] = ()
) -> Plan:
    """How to bring back what systems lost since the baseline; of the systems ``only`` by their names, if any
    are named. ``drift`` is the comparison of the two ``sides``."""
    return _Planner(sides, snapshot.gaps, drift, has_copy, frozenset(only)).plan()


@dataclass(frozen=True)
class _Planner:
    sides: Sides
    gaps: tuple[Gap, ...]
    drift: Drift
    has_copy: HasCopy
    only: frozenset[str]

    def plan(self) -> Plan:
        steps: list[Step] = []
        left: list[Left] = []
        for change in self._chosen:
            found = self._undone(change, steps)
            if isinstance(found, str):
                left.append(Left(change, found))
            else:
                steps += [found] if found else []
        steps = [*_sorted(steps), *self._order(steps), *self._next()]
        state = after_all(self.sides.now, steps)
        now, then = (outlook(usual(one), self.gaps, self.sides.systems) for one in (self.sides.now, state))
        return Plan(tuple(steps), tuple(left), now, then, state)

    @cached_property
    def _chosen(self) -> list[Change]:
        """What took a way of starting away, worst first."""
        lost = [one for one in self.drift.changes if one.level.at_least(Level.WEAKENED)]
        if self.only:
            lost = [one for one in lost if one.system is None or one.system in self.only]
        return sorted(lost, key=lambda one: one.level.rank)

    def _undone(self, change: Change, steps: Sequence[Step]) -> Step | str | None:
        """The step that undoes a change; why there is none; None where another step does it."""
        if change.change == "entry-missing":
            return self._made(change, steps)
        if change.change in _MENDED:
            return self._mended(change)
        if change.change in _FILES:
            return self._put_back(change)
        if change.change in ("order-changed", "next-set", "entry-added"):
            return None
        return _BY_HAND.get(change.change, "nothing that is written here would undo it")

    # entries

    def _made(self, change: Change, steps: Sequence[Step]) -> Step | str:
        former = _number(change.before)
        variable = self.sides.before.variables[variable_of(former)]
        taken = [step.number for step in steps if isinstance(step, WriteEntry)]
        number = free_number(self.sides.now, former, taken)
        if number is None:
            return "the firmware has no number left for an entry"
        return WriteEntry(number, variable.data, str(change.before["label"]), None, _WHYS[change.change])

    def _mended(self, change: Change) -> Step | str | None:
        if leads_nowhere(change):
            return "its disk is attached elsewhere: the entry itself is as it was"
        number = _number(change.after)
        old = self.sides.now.variables[variable_of(number)].data
        new = self.sides.before.variables[variable_of(_number(change.before))].data
        names = {
            one.change
            for one in self._chosen
            if one.change in _MENDED and one.after and _number(one.after) == number
        }
        if sorted(names)[0] != change.change:
            return None  # one step undoes all that happened to an entry
        return WriteEntry(
            number,
            merged(old, new, names),
            str(change.before["label"]),
            old,
            " ".join(_WHYS[one] for one in sorted(names)),
        )

    def _order(self, steps: Iterable[Step]) -> Iterator[Step]:
        """New entries at their place; where the order itself was changed, all as it was."""
        now = read_order(self.sides.now)
        made = {step.number for step in steps if isinstance(step, WriteEntry) and step.over is None}
        former, order = self._former_order(steps), list(now)
        for number in (one for one in former if one in made):
            order = with_number(order, number, former)
        is_changed = any(one.change in ("order-changed", "entry-added") for one in self._chosen)
        listed = [number for number in self._unlisted if number not in order]
        if is_changed:
            order = as_before([*order, *listed], former)
        if order != now:
            why = (
                "The firmware tries entries in another order."
                if is_changed
                else "A new entry is tried at its place."
            )
            yield WriteOrder(tuple(order), tuple(now), why)

    @cached_property
    def _unlisted(self) -> list[int]:
        """Today's numbers of entries that the baseline's order lists and today's doesn't."""
        listed, today = set(read_order(self.sides.before)), set(read_order(self.sides.now))
        return [
            now.number
            for before, now in self.sides.entries.same
            if before.number in listed and now.number not in today
        ]

    def _former_order(self, steps: Iterable[Step]) -> list[int]:
        """The baseline's, by the numbers that its entries have once the steps are done."""
        places = {before.number: now.number for before, now in self.sides.entries.same}
        variables = self.sides.before.variables
        for step in steps:
            if isinstance(step, WriteEntry) and step.over is None:
                own = (
                    before.number
                    for before in self.sides.entries.missing
                    if variables[variable_of(before.number)].data == step.data
                )
                places |= {number: step.number for number in own if number not in places}
        return renumbered(read_order(self.sides.before), places)

    def _next(self) -> Iterator[Step]:
        """Only what is asked for once and starts another system than usual."""
        variable = self.sides.now.variable("BootNext")
        is_asked = variable is not None and read_next(self.sides.now) is not None
        if variable and is_asked and any(one.change == "next-set" for one in self._chosen):
            yield ClearNext(variable.data, "Another system was asked for at the next start.")

    # files

    def _put_back(self, change: Change) -> Step | str:
        identity, path = str(change.scope["volume"]), str(change.scope["path"])
        former, volume = _on(self.sides.before, identity), _on(self.sides.now, identity)
        before = former.file(path) if former else None
        if before is None or before.sha256 is None:
            return "what it held is not known"
        if volume is None:
            return "its boot volume isn't there, or can't be told from another one"
        if not self.has_copy(before.sha256):
            return "no copy of it was kept"
        there = volume.file(path)
        if there and there.is_folder:
            return "a folder of that name lies there"
        over = (there.sha256 or "?") if there else ""
        return WriteFile(volume.identity, before, over, _WHYS[change.change])


def _on(state: State, identity: str) -> Volume | None:
    """The volume of that identity; None where there is none, or more than one."""
    found = [one for one in state.volumes.values() if plain(one.identity) == plain(identity)]
    return found[0] if len(found) == 1 else None


def _number(entry: dict[str, str]) -> int:
    return int(entry["entry"].removeprefix("Boot"), 16)


def _sorted(steps: Sequence[Step]) -> list[Step]:
    """Files first: whenever it is cut off, no entry leads to what isn't there yet."""
    return sorted(steps, key=lambda step: not isinstance(step, WriteFile))
