"""What a restore would do: steps worked out from baseline and snapshot, and what starts after them. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from bootwatch.judge.altered import usual
from bootwatch.judge.drift import compare
from bootwatch.judge.outlook import How, Outlook, outlook
from bootwatch.judge.sides import Sides
from bootwatch.judge.weigh import Weights
from bootwatch.model.change import Change, Drift
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.recover.companions import companions
from bootwatch.recover.fewest import fewest
from bootwatch.recover.harmless import in_harmless_order
from bootwatch.recover.relocate import Move
from bootwatch.recover.steps import Step, after_all
from bootwatch.recover.undoing import FILES, UNDONE, HasCopy, Left, Undoing

_DOUBTFUL = ("loader-changed", "entry-data-changed")
_SEEMS_GOOD = "it would start, as far as can be told from outside; to have the former one back all the same"
_MOST_ROUNDS = 3
_MOST_TRIES = 400  # of what else differs and may be needed
_MISSED = ("entry-missing", "loader-missing", "file-missing")


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
        now = _ranks(self.now)
        gains = any(rank > now.get(key, 0) for key, rank in _ranks(self.then).items())
        return gains or self.now.next_start.place != self.then.next_start.place


def _ranks(found: Outlook) -> dict[str, int]:
    worst_first = [How.NOT_AT_ALL, How.UNKNOWN, How.ON_REQUEST, How.BY_ITSELF]
    return {one.system.key: worst_first.index(one.how) for one in found.systems}


def plan(
    sides: Sides,
    snapshot: Snapshot,
    drift: Drift,
    has_copy: HasCopy,
    only: Collection[str] = (),
    moves: Iterable[Move] = (),
    weights: Weights | None = None,
    also: Collection[str] = (),
) -> Plan:
    """How to bring back what systems lost since the baseline; of the systems ``only`` by their names, if any
    are named. ``drift`` is the comparison of the two ``sides``; ``moves`` says which volumes of the baseline
    were put where they are today before that, ``weights`` how the comparison weighed. ``also`` are ids of
    changes that are undone though they took no way of starting away, as far as can be told.

    No step keeps a system from starting that starts when its turn comes; one that would is not taken.
    """
    given = has_copy, frozenset(only), frozenset(one.now for one in moves), frozenset(also)
    first = found = _Planner(sides, snapshot.gaps, drift, *given).plan()
    quiet = frozenset(one.id for one in drift.changes if _is_quiet(one))
    for _ in range(_MOST_ROUNDS if found.steps else 0):
        # What is back may show what else was lost: an order matters again once its entries lead somewhere.
        held = replace(snapshot, state=found.state)
        drift = compare(sides.before, sides.before_gaps, held, weights=weights, names=sides.names).drift
        sides = Sides(sides.before, held.state, sides.before_gaps, held.gaps, sides.names, sides.running)
        more = _Planner(sides, held.gaps, drift, *given, quiet=quiet).plan()
        if not more.steps:
            break
        found = replace(more, steps=(*found.steps, *more.steps), left=first.left, now=first.now)
    return found


def _is_quiet(change: Change) -> bool:
    """Whether it is expected, or a file not worth telling of, for reasons that only history knows."""
    return bool(change.accepted) or (change.change in FILES and not change.level.at_least(Level.WEAKENED))


@dataclass(frozen=True)
class _Planner:
    sides: Sides
    gaps: tuple[Gap, ...]
    drift: Drift
    has_copy: HasCopy
    only: frozenset[str]
    moved: frozenset[str]
    also: frozenset[str]
    quiet: frozenset[str] = frozenset()

    def plan(self) -> Plan:
        chosen = self._chosen
        chosen = (*self._beside(chosen), *chosen, *self._helpful(chosen))
        steps, left, refused = self._harmless(chosen)
        if refused:  # what led up to them, an entry's place in the order say, goes with them
            chosen = tuple(one for one in chosen if one not in refused)
            steps, more, _ = self._harmless(chosen)
            left = [*more, *(Left(one, "it would keep another system from starting") for one in refused)]
        left += [Left(one, f"{_SEEMS_GOOD}: --also {one.id}") for one in self._doubtful(chosen)]
        state = after_all(self._begin, steps)
        return Plan(tuple(steps), tuple(left), self._ahead(self.sides.now), self._ahead(state), state)

    @cached_property
    def _begin(self) -> State:
        """What is there now, and known of texts that may come back."""
        now = self.sides.now
        return replace(now, texts={**self.sides.before.texts, **now.texts})

    def _ahead(self, state: State) -> Outlook:
        return outlook(usual(state), self.gaps, self.sides.systems)

    @cached_property
    def _chosen(self) -> tuple[Change, ...]:
        """What took a way of starting away, worst first."""
        lost = (
            one for one in self.drift.changes if one.level.at_least(Level.WEAKENED) or one.id in self.also
        )
        return tuple(sorted(filter(self._is_asked, lost), key=lambda one: one.level.rank))

    def _beside(self, chosen: Sequence[Change]) -> list[Change]:
        """First of all: where the rest is cut off, what they lay beside is still missed."""
        return companions(chosen, filter(self._is_asked, self.drift.changes))

    def _is_asked(self, change: Change) -> bool:
        if change.id in self.also:
            return True
        if change.accepted or change.id in self.quiet:
            return False
        return not self.only or change.system is None or change.system in self.only

    def _doubtful(self, chosen: Collection[Change]) -> list[Change]:
        """What starts a system as it is, as far as its headers tell, and is another one than it was."""
        return [
            one
            for one in self.drift.changes
            if one.change in _DOUBTFUL and one not in chosen and self._is_asked(one)
        ]

    def _undoing(self, chosen: Sequence[Change]) -> tuple[list[Step], list[Left]]:
        return Undoing(self.sides, tuple(chosen), self.has_copy, self.moved, self.also).steps()

    # what breaks nothing

    def _harmless(self, chosen: Sequence[Change]) -> tuple[list[Step], list[Left], list[Change]]:
        """The steps in their order, what is left, and changes whose undoing would break something."""
        found, left = self._undoing(chosen)
        steps, harmful = in_harmless_order(self._begin, self.gaps, self.sides.systems, found)
        return steps, left, [one for one in chosen if harmful and self._needs(one, harmful)]

    def _needs(self, change: Change, harmful: Sequence[Step]) -> bool:
        """Whether what undoes a change is among the steps."""
        own, _ = self._undoing([change])
        return any(step.target in {one.target for one in harmful} for step in own)

    # what else helps

    def _helpful(self, chosen: Sequence[Change]) -> tuple[Change, ...]:
        """Of what else differs: whatever brings a system back that started and wouldn't yet."""
        before = _ranks(outlook(usual(self.sides.before), self.sides.before_gaps, self.sides.systems))
        reached = self._reached(chosen)
        short = {key for key, rank in before.items() if rank > reached.get(key, 0)}
        names = {one.name for one in self.sides.systems.all() if one.key in short}
        more = [
            one
            for one in self.drift.changes
            if one.change in UNDONE
            and one not in chosen
            and self._is_asked(one)
            and (one.system is None or one.system in names)
        ]
        if not names or not more:
            return ()
        best = self._reached([*chosen, *more])
        if not any(best.get(key, 0) > reached.get(key, 0) for key in short):
            return ()
        return self._needed(chosen, more, best)

    def _reached(self, chosen: Sequence[Change]) -> dict[str, int]:
        return _ranks(self._ahead(after_all(self._begin, self._undoing(chosen)[0])))

    def _needed(
        self, chosen: Sequence[Change], more: Sequence[Change], best: dict[str, int]
    ) -> tuple[Change, ...]:
        """Of ``more``, what can't be left out without a system starting worse than ``best``; what would write
        over something that is there is left out first, since it may be the newer one."""

        def will_do(fewer: list[Change]) -> bool:
            reached = self._reached([*chosen, *fewer])
            return all(reached.get(key, 0) >= rank for key, rank in best.items())

        return tuple(fewest(sorted(more, key=lambda one: one.change in _MISSED), will_do, _MOST_TRIES))
