"""The start-up simulated again under every single loss: who would still start, and would anyone hear of it?

Reads only. What can't be told stays unknown: a loss is never said to keep a system from starting where that
depends on something that could not be read. What was asked for once only (BootNext) is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bootwatch.judge import altered
from bootwatch.judge.following import comes_up
from bootwatch.judge.losses import Kind, Loss, losses_of
from bootwatch.judge.mends import Mend, Sort, mends_for
from bootwatch.judge.outlook import How, Outlook, SystemOutlook
from bootwatch.judge.rehearsed import Effect, Point, Rehearsal, Rehearsed, Remedy, SystemRehearsal
from bootwatch.judge.stage import Known, Stage
from bootwatch.judge.systems import System, Systems
from bootwatch.judge.thinned import readable, thinned
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State

Points = tuple[Point, ...]
_UNHURT = len(Effect)
# What one rehearsal may cost, in entries and systems that are looked at: about a second. A usual machine
# needs a tenth of it.
_ALLOWANCE = 40_000
_FILES = 200  # that cost as much as one entry


def rehearse(state: State, gaps: tuple[Gap, ...], systems: Systems, home: System | None) -> Rehearsal:
    """Every single loss on ``state``, and every mend against the single points of failure that were found.

    ``home`` is the system in which bootwatch runs, None where that isn't known.
    """
    return _Rehearser(state, gaps, systems, home).rehearse()


class _Rehearser:
    def __init__(self, state: State, gaps: tuple[Gap, ...], systems: Systems, home: System | None) -> None:
        self.gaps, self.home = gaps, home
        usual = altered.usual(state)
        self.once = usual is not state
        early = readable(usual)
        whole = Stage(gaps, systems, early.is_cut).look(early.state, {})
        thin = early.and_then(thinned(early.state, whole))
        self.stage, self.state = Stage(gaps, systems, thin.is_cut), thin.state
        self.now = whole if thin.state is early.state else self.stage.look(thin.state, {})
        self.stage = replace(self.stage, known=Known.of(self.now, thin.state))
        self.looks = _ALLOWANCE // _cost(thin.state, self.now)
        found = losses_of(thin.state, self.now, most=self.looks // 2)
        self.losses, self.limits = found.all, [*thin.limits, *found.limits]
        self.watched = [one for one in self.now.systems if one.system.is_watched]

    def rehearse(self) -> Rehearsal:
        losses = tuple(self._perform(number, loss) for number, loss in enumerate(self.losses, 1))
        systems = tuple(self._of_system(one, losses) for one in self.watched)
        untried = [one.outlook.name for one in systems if not one.is_tried]
        if untried:
            self.limits.append(
                f"For {len(untried)} of {len(systems)} systems it was not worked out what would help: there "
                "is more here than on any usual machine."
            )
        return Rehearsal(
            now=self.now,
            home=self.home,
            heard_now=self._heard(self.now),
            losses=losses,
            systems=systems,
            limits=tuple(self.limits),
            once=self.once,
        )

    # losses

    def _perform(self, number: int, loss: Loss, mend: Mend | None = None) -> Rehearsed:
        """A loss on the machine as it is, or as it would be with a mend."""
        state, owners = self.state, loss.owners
        if mend:
            state, owners = mend.apply(state), {**mend.owners, **loss.owners}
        self.looks -= 1
        seen = self.stage.look(loss.apply(state), owners)
        return Rehearsed(number, loss, seen, self._heard(seen), self._effects(seen))

    def _heard(self, seen: Outlook) -> bool | None:
        return comes_up(seen, self.home) if self.home else None

    def _effects(self, seen: Outlook) -> dict[str, Effect]:
        found = ((one.system.key, self._effect(one, seen)) for one in self.watched)
        return {key: effect for key, effect in found if effect}

    def _effect(self, before: SystemOutlook, seen: Outlook) -> Effect | None:
        """What became of a system, compared with the machine as it is now."""
        after = seen.by_key.get(before.system.key)
        if not before.starts or after is None or after.starts is None:
            return None
        if not after.starts:
            return Effect.NOT_AT_ALL
        if comes_up(self.now, before.system) and comes_up(seen, before.system) is False:
            return Effect.INSTEAD
        was_by_itself = before.how is How.BY_ITSELF
        return Effect.ON_REQUEST if was_by_itself and _is_on_request(after) else None

    # what would help

    def _of_system(self, one: SystemOutlook, losses: Sequence[Rehearsed]) -> SystemRehearsal:
        points = _points(losses, one)
        mends = mends_for(self.state, self.gaps, self.now, one) if points else ()
        if not mends:
            return SystemRehearsal(one, points, remain=points)
        if self.looks < len(mends) * len(points) + len(losses):
            return SystemRehearsal(one, points, remain=points, is_tried=False)
        tried = [
            _Tried(mend, self._ranks(one, points, mend), place)
            for place, mend in enumerate(self._harmless(mends))
        ]
        useful = [
            each for each in tried if any(each.ranks[number] > effect.rank for number, effect in points)
        ]
        kept = [each for each in useful if not any(other.makes_needless(each) for other in useful)]
        remedies = tuple(self._remedy(each, points, losses) for each in kept)
        return SystemRehearsal(one, points, remedies, self._remain(one, points, kept))

    def _harmless(self, mends: Iterable[Mend]) -> Iterator[Mend]:
        """Those that change nothing for any system as long as nothing is lost."""
        for mend in mends:
            if not self._effects(self.stage.look(mend.apply(self.state), mend.owners)):
                yield mend

    def _ranks(self, one: SystemOutlook, points: Points, mend: Mend) -> dict[int, int]:
        """By the number of the loss, what it still does to the system after the mend."""
        mended = (self._perform(number, self.losses[number - 1], mend) for number, _ in points)
        return {loss.number: _rank(loss.effects.get(one.system.key)) for loss in mended}

    def _remedy(self, each: _Tried, points: Points, losses: Sequence[Rehearsed]) -> Remedy:
        helped = [(number, effect) for number, effect in points if each.ranks[number] > effect.rank]
        # Whether there is more on a lost disk than a loader, the system itself, say, isn't recorded.
        is_copy = each.mend.sort is Sort.COPY
        open_ones = [n for n, _ in helped if is_copy and self.losses[n - 1].kind is Kind.DISK]
        sure = [number for number, _ in helped if number not in open_ones]
        return Remedy(
            each.mend,
            removes=tuple(number for number in sure if each.ranks[number] == _UNHURT),
            if_elsewhere=tuple(open_ones),
            eases=tuple((n, list(Effect)[each.ranks[n]]) for n in sure if each.ranks[n] < _UNHURT),
            costs=tuple(self._costs(each.mend, losses)),
        )

    def _costs(self, mend: Mend, losses: Iterable[Rehearsed]) -> Iterator[tuple[str, int, Effect]]:
        """What losses would do more to some system with the mend than without it."""
        for loss in losses:
            mended = self._perform(loss.number, loss.loss, mend)
            for one in self.watched:
                effect = mended.effects.get(one.system.key)
                if effect and effect.rank < _rank(loss.effects.get(one.system.key)):
                    yield one.name, loss.number, effect

    def _remain(self, one: SystemOutlook, points: Points, kept: Sequence[_Tried]) -> Points:
        """What is left with all remedies together."""
        if not kept:
            return points
        together = kept[0].mend
        for each in kept[1:]:
            together = together.and_also(each.mend)
        return _points(
            [self._perform(number, self.losses[number - 1], together) for number, _ in points], one
        )


@dataclass(frozen=True)
class _Tried:
    """A mend with what each loss does after it, by the loss's number; ``place`` is its own among others."""

    mend: Mend
    ranks: Mapping[int, int]
    place: int

    def makes_needless(self, other: _Tried) -> bool:
        """Whether it helps as much as the other one, without more effort."""
        if self is other or self.mend.sort.effort > other.mend.sort.effort:
            return False
        if any(self.ranks[number] < rank for number, rank in other.ranks.items()):
            return False
        return self.ranks != other.ranks or self._order < other._order

    @property
    def _order(self) -> tuple[int, int]:
        return self.mend.sort.effort, self.place


def _points(losses: Iterable[Rehearsed], one: SystemOutlook) -> Points:
    """The losses that do something to a system, worst first."""
    found = ((loss.number, effect) for loss in losses if (effect := loss.effects.get(one.system.key)))
    return tuple(sorted(found, key=lambda point: (point[1].rank, point[0])))


def _cost(state: State, now: Outlook) -> int:
    """Of one look, in the units of the allowance."""
    files = sum(len(volume.files) for volume in state.volumes.values())
    return 4 + len(now.startup.routes) + len(now.systems) + files // _FILES


def _is_on_request(one: SystemOutlook) -> bool:
    """Whether it surely no longer starts by itself."""
    is_open = one.may_be_hidden or any(route.unattended and route.starts is None for route in one.routes)
    return one.how is How.ON_REQUEST and not is_open


def _rank(effect: Effect | None) -> int:
    return effect.rank if effect else _UNHURT
