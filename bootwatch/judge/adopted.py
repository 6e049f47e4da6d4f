"""A baseline with some of its differences taken over. All else stays as it was, and so stays different.

Differences are taken from a snapshot one by one. Some can't be told apart from others: two entries that
swapped their numbers, say. Whether they can is not reasoned out but tried: the new baseline is compared with
the snapshot, and what that shows must be what was left.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from bootwatch.judge.adopted_entries import with_entries, with_settings
from bootwatch.judge.adopted_files import with_files, with_texts
from bootwatch.judge.adopted_volumes import gaps_with, with_surroundings, with_volumes
from bootwatch.judge.drift import compare
from bootwatch.judge.firmware_changes import FIRMWARE
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Naming
from bootwatch.model.change import Change
from bootwatch.model.gap import Gap
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.path import fold
from bootwatch.model.snapshot import Snapshot, State

ONCE = "next-set"
"""The change that no baseline takes over: what it sets holds for one start only."""
_SETTINGS = ("timeout-changed", "secure-boot-switched", "keys-changed")
# How often another choice is tried for one that can't be taken; each costs a comparison.
_MOST_TRIALS = 30

Mark = tuple[object, ...]


class HangTogether(Exception):
    """These differences can't be taken without others: ``also`` are the ids of those, () if unknown."""

    def __init__(self, also: tuple[str, ...]) -> None:
        super().__init__(f"not without {', '.join(also) or 'others'}")
        self.also = also


@dataclass(frozen=True)
class Adopted:
    """The new baseline's state, and what is not known of it."""

    state: State
    gaps: tuple[Gap, ...]


@dataclass(frozen=True)
class Adoption:
    """A baseline, a snapshot, and how that differs from it: what `compare` says of the two."""

    before: State
    before_gaps: tuple[Gap, ...]
    now: Snapshot
    changes: tuple[Change, ...]
    names: Naming | None = None
    past: Past = NO_PAST

    def of(self, ids: Collection[str]) -> Adopted:
        """The baseline with the differences ``ids`` taken over. Raises HangTogether when they can't be taken
        by themselves, ValueError for one that no baseline takes over or that isn't there."""
        known = {one.id for one in self.changes if one.change != ONCE}
        if not known.issuperset(ids):
            raise ValueError(f"not to be taken over: {sorted(set(ids) - known)}")
        found = self._fitting(set(ids))
        if found is None:
            raise HangTogether(self._also(set(ids)))
        return found

    def _fitting(self, ids: set[str]) -> Adopted | None:
        """What `of` gives; None where something else would come out.

        Where a disk is attached is no change by itself, nor is how the firmware runs; but whether an entry
        leads to anything may hang on it.
        """
        moved = with_surroundings(self.before, self._sides)
        for start in (self.before,) if moved == self.before else (self.before, moved):
            found = self._merged(start, ids)
            if found and not self._surprises(found, ids):
                return found
        return None

    @cached_property
    def _sides(self) -> Sides:
        return Sides(self.before, self.now.state, self.before_gaps, self.now.gaps, self.names)

    def _merged(self, state: State, ids: set[str]) -> Adopted | None:
        """The baseline's ``state``, changed as far as each change tells; None where one would be two."""
        taken = [one for one in self.changes if one.id in ids]
        sides = self._sides
        settings = [str(one.scope["variables"]) for one in taken if one.change in _SETTINGS]
        state = with_files(with_settings(state, sides.now, settings), sides, taken)
        if any(one.change == "firmware-updated" for one in taken):
            facts = {name: sides.now.facts[name] for name in FIRMWARE}
            state = replace(state, facts=state.facts | facts)
        whole = with_entries(state, sides, taken)
        whole = whole and with_volumes(whole, sides, taken)
        if whole is None:
            return None
        return Adopted(with_texts(whole, sides), gaps_with(self.before_gaps, sides, taken))

    def _surprises(self, found: Adopted, ids: set[str]) -> set[Mark]:
        """What differs from the new baseline otherwise than it should: what is new, what went by itself."""
        left = Counter(mark(one) for one in self.changes if one.id not in ids)
        given = found.state, found.gaps, self.now
        drift = compare(*given, names=self.names, past=self.past).drift
        shown = Counter(mark(one) for one in drift.changes)
        return set((left - shown) + (shown - left))

    def _also(self, ids: set[str]) -> tuple[str, ...]:
        """The fewest further differences that were found with which these can be taken."""
        for more in self._choices(ids):
            if self._fitting(ids | more):
                return self._in_order(self._without_needless(ids, more))
        return ()

    def _choices(self, ids: set[str]) -> Iterator[set[str]]:
        """What to try: what went by itself, one that is about the same thing, all that are, everything."""
        free = [one for one in self.changes if one.id not in ids and one.change != ONCE]
        found = self._merged(self.before, ids)
        surprises = self._surprises(found, ids) if found else set()
        gone = {one.id for one in free if mark(one) in surprises}
        near, size = set(ids), 0
        while size != len(near):
            size = len(near)
            things = {thing for one in self.changes if one.id in near for thing in _things(one)}
            near |= {one.id for one in free if things & _things(one)}
        yield from [gone] if gone else []
        yield from [{one.id} for one in free if one.id in near][:_MOST_TRIALS]
        yield (near - ids) | gone
        yield {one.id for one in free}

    def _without_needless(self, ids: set[str], more: set[str]) -> set[str]:
        for one in sorted(more)[:_MOST_TRIALS] if len(more) > 1 else ():
            if self._fitting(ids | more - {one}):
                more = more - {one}
        return more

    def _in_order(self, ids: set[str]) -> tuple[str, ...]:
        return tuple(one.id for one in self.changes if one.id in ids)


_ENTRY = ("entry", "label", "volume", "file", "path", "active", "data")
_TOLD: dict[str, tuple[str, ...]] = {
    "entry-missing": _ENTRY,
    "entry-inactive": ("active",),
    "entry-retargeted": ("volume", "path"),
    "entry-renumbered": ("entry",),
    "entry-relabelled": ("label",),
    "entry-data-changed": ("data",),
    "volume-missing": ("volume",),
    "volume-reformatted": ("serial",),
    "partition-retyped": ("type",),
    "partition-renumbered": ("partition",),
    "partition-reidentified": ("volume",),
}


def mark(change: Change) -> Mark:
    """What makes it the same difference after the baseline changed in something else.

    Its id doesn't: that names an entry or volume by what the baseline held. A loader of the baseline's
    that no entry names any more is a file; the order of other entries is still the order.
    """
    name, before, after = change.change, change.before, change.after
    if name == "order-changed":
        return (name,)
    if name.startswith(("loader-", "file-")):
        happened = name.partition("-")[2].replace("emptied", "changed")
        return ("file", happened, fold(str(change.scope["path"])), _plain(before), _plain(after))
    told = _TOLD.get(name)
    if told and isinstance(before, dict):
        before = {field: before.get(field) for field in told}
    return (name, _plain(before), _plain(after))


def _plain(value: Any) -> object:
    return tuple(sorted((key, str(one)) for key, one in value.items())) if isinstance(value, dict) else value


def _things(change: Change) -> set[Mark]:
    """What a change is about, to find others that may hang on it."""
    things: set[Mark] = set()
    if "volume" in change.scope:
        things.add(("volume", plain(str(change.scope["volume"]))))
    for side in (change.before, change.after):
        if isinstance(side, dict):
            if side.get("volume"):
                things.add(("volume", plain(str(side["volume"]))))
            if side.get("entry"):
                things |= {("entry", side["entry"]), ("order", "")}
    return things | ({("order", "")} if change.change == "order-changed" else set())
