"""Whether a step may be carried out: nothing is written that an administrator's baseline doesn't hold.

The reader works steps out from hostile bytes; whoever writes believes it nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from bootwatch.judge.adopted_entries import merged
from bootwatch.judge.drafts import stable_id
from bootwatch.judge.entries import Entry, parse_entry, read_entries, variable_of
from bootwatch.judge.pairs import plain
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable
from bootwatch.problem import Problem
from bootwatch.recover.former_order import puts_nothing_in_front
from bootwatch.recover.paths import parts_of
from bootwatch.recover.steps import (
    ClearNext,
    SetNext,
    SetType,
    Step,
    WriteEntry,
    WriteFile,
    WriteOrder,
    after_all,
    is_type,
)

_FIELDS = ("entry-inactive", "entry-retargeted", "entry-data-changed")


def require_allowed(
    steps: Sequence[Step], baseline: State, variables: Mapping[str, Variable], also: Collection[str] = ()
) -> None:
    """Raise Problem, before anything is written, for a step that the ``baseline`` doesn't bear out.

    ``variables`` are today's, read by whoever writes; ``also`` are ids of changes that a person named, as in
    ``plan``: no partition's type is set unnamed.
    """
    now = replace(baseline, variables=dict(variables))
    now = after_all(now, [step for step in steps if isinstance(step, WriteEntry)])
    for step in steps:
        if not _is_allowed(step, baseline, now, also):
            raise Problem(
                f"The baseline doesn't bear out this step: {step.what}.",
                "Nothing was written. Look at the machine once more, and run the command again.",
            )


def _is_allowed(step: Step, baseline: State, now: State, also: Collection[str]) -> bool:
    match step:
        case WriteFile():
            parts_of(step.file.path)
            return any(
                plain(volume.identity) == plain(step.volume)
                and (held := volume.file(step.file.path)) is not None
                and (held.sha256, held.size, held.is_folder) == (step.file.sha256, step.file.size, False)
                for volume in baseline.volumes.values()
            )
        case WriteEntry():
            return not _is_whole(step.over, baseline) and step.data in set(_options(step, baseline))
        case WriteOrder():
            # A number that today's order has twice may stay so.
            more = Counter(step.order) - Counter(step.over)
            is_added = max(more.values(), default=1) == 1 and not set(more) & set(step.over)
            is_whole = is_added and set(step.over) <= set(step.order)
            return is_whole and puts_nothing_in_front(step, baseline, now)
        case ClearNext():
            return True
        case SetNext():  # that is a trial, which no baseline asks for
            return False
        case SetType():
            return is_type(step.type) and any(
                (volume.identity, volume.type) == (step.volume, step.type)
                and stable_id("partition-retyped", (volume.identity,)) in also
                for volume in baseline.volumes.values()
            )


def _is_whole(over: bytes | None, baseline: State) -> bool:
    """Whether it would take one of the baseline's own entries away, which lacks nothing."""
    return over in [baseline.variables[variable_of(number)].data for number in read_entries(baseline)]


def _options(step: WriteEntry, baseline: State) -> Iterable[bytes]:
    """What an entry may hold: one of the baseline's as it was, or today's with fields of one of those; it
    then leads where one of those does."""
    own = read_entries(baseline)
    options = {number: baseline.variables[variable_of(number)].data for number in own}
    if step.over is None:
        yield from options.values()
        return
    there = parse_entry(step.number, step.over)
    places = {entry.place for entry in own.values()}
    for number, option in options.items():
        if there is None or not _is_same(there, own[number]):
            continue
        for count in range(1, len(_FIELDS) + 1):
            for names in combinations(_FIELDS, count):
                data = merged(step.over, option, names)
                if (entry := parse_entry(number, data)) and entry.place in places:
                    yield data


def _is_same(there: Entry, own: Entry) -> bool:
    """Whether today's entry may be the baseline's, changed, as entries are paired: nothing is made out of
    somebody else's."""
    return there.place == own.place or (there.number, there.label) == (own.number, own.label)
