"""When each change happened, who had the machine then, what is known of it, and whether it was expected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property, lru_cache

from bootwatch.judge.acceptance import Known, Rules, settled
from bootwatch.judge.custody import Look, custody_between
from bootwatch.judge.evidence import Span, evidence
from bootwatch.judge.firmware_changes import firmware_name
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.keep import churn, open_changes
from bootwatch.keep.history import History
from bootwatch.model.change import Custody, Drift
from bootwatch.model.evidence import Evidence
from bootwatch.model.past import Spot
from bootwatch.model.path import fold, uncounted
from bootwatch.model.snapshot import HEADER, VOLUME_PART, Circumstance

Ends = tuple[int | None, int | None]
Contents = dict[Spot, str | None]  # the SHA-256 of each file
# Longer spans are cut at their beginning: what is said of them is less, and true.
_MOST_LOOKS = 500


def place_in_time(history: History, drift: Drift, baseline: str, scene: Scene, rules: Rules) -> Drift:
    """Say of each change between which snapshots it happened, who had the machine then, and whether it was
    expected. ``baseline`` is the digest of the baseline compared with."""
    ends = open_changes.spans(history, drift, baseline, scene.snapshot.number)
    spans = Spans(history, scene)
    changes = []
    for change in drift.changes:
        span, known = spans.of(ends[change.id])
        placed = replace(change, between=ends[change.id], custody=span.custody, evidence=known)
        changes.append(settled(placed, span, rules, spans.known(ends[change.id])))
    return drift.with_changes(tuple(sorted(changes, key=lambda one: one.level.rank)))


class Spans:
    """The times between recorded snapshots, each looked at once. ``scene`` is that of the newest one, which
    need not be recorded."""

    def __init__(self, history: History, scene: Scene) -> None:
        self.history, self.scene = history, scene
        self.past = churn.past(history, scene.circumstance)
        self._stored: dict[str, Contents] = {}
        self._spans: dict[Ends, tuple[Span, tuple[Evidence, ...]]] = {}
        self._known: dict[Ends, Known] = {}

    def of(self, ends: Ends) -> tuple[Span, tuple[Evidence, ...]]:
        """The time between two snapshots by number, and what is known of it. None as the second one stands
        for the newest snapshot where that isn't recorded."""
        if ends not in self._spans:
            span = self._span(*ends)
            self._spans[ends] = span, evidence(span)
        return self._spans[ends]

    def known(self, ends: Ends) -> Known:
        """What an acceptance goes by besides: the same for all changes of one time."""
        if ends not in self._known:
            started = frozenset(self._started(*ends))
            self._known[ends] = Known(self.scene.systems, self.scene.state, started, self.scene.known_before)
        return self._known[ends]

    def _span(self, first: int | None, last: int | None) -> Span:
        looks = list(self._looks(first, last))
        if first is None or len(looks) < 2:
            return Span()
        ways = [Look.of(number, circumstance) for number, circumstance in looks]
        custody = custody_between(ways[0], ways[-1], ways[1:-1])
        return Span(
            looks=tuple(circumstance for _, circumstance in looks),
            custody=custody,
            firmware=(self._firmware(first), self._firmware(last)),
            capsule=self._capsule_waited(first),
            touched=() if custody is Custody.HERE else tuple(self._touched(first, last)),
        )

    def _looks(self, first: int | None, last: int | None) -> Iterator[tuple[int, Circumstance]]:
        if first is not None:
            yield from self.history.circumstances(first, last, _MOST_LOOKS)
            if last is None and self.scene.snapshot.number is None:
                yield (self.history.last_number() or 0) + 1, self.scene.circumstance

    def _firmware(self, number: int | None) -> str:
        if number in (None, self.scene.snapshot.number):
            return firmware_name(self.scene.state)
        return firmware_name(self.history.state(number, ("facts",))[0])

    def _capsule_waited(self, number: int) -> bool:
        found = self.history.overview(number).get("findings", ())
        return any(item.get("finding") == "capsule-waiting" for item in found)

    def _touched(self, first: int, last: int | None) -> Iterator[str]:
        """Other systems whose volatile files differ between two snapshots."""
        theirs = self._of_others
        before, after = self._contents_at(first), self._contents_at(last)
        touched = {
            theirs[spot]
            for spot in theirs
            if None not in (before.get(spot), after.get(spot)) and before[spot] != after[spot]
        }
        yield from sorted(touched)

    def _contents_at(self, number: int | None) -> Contents:
        """Of the volatile files of others in one snapshot."""
        if number in (None, self.scene.snapshot.number):
            return self._contents_now
        parts = self.history.part_digests(number) if self._of_others else {}
        found: Contents = {}
        for volume in {volume for volume, _ in self._of_others}:
            own = parts.get(VOLUME_PART + volume)
            found |= self._contents_of(volume, own) if own else {}
        return found

    def _contents_of(self, volume: str, own: str) -> Contents:
        """The same in one stored volume, by the digest of its part, each looked at once."""
        if own not in self._stored:
            (part,) = self.history.parts_by_digest({volume: own}).values()
            files = ((path, line) for path, line in part.items() if path != HEADER)
            spots = (((volume, _folded(path)), line.get("sha256")) for path, line in files)
            self._stored[own] = {spot: content for spot, content in spots if spot in self._of_others}
        return self._stored[own]

    @cached_property
    def _contents_now(self) -> Contents:
        return {
            (plain(volume.identity), _folded(path)): file.sha256
            for volume in self.scene.state.volumes.values()
            for path, file in volume.files.items()
        }

    @cached_property
    def _of_others(self) -> dict[Spot, str]:
        """The volatile files of systems other than the running one, with their system's name."""
        running = self.scene.systems.running()
        owners = ((spot, self.scene.systems.of_file(*spot)) for spot in self.past.volatile)
        own = running.name if running else None
        return {spot: owner for spot, owner in owners if owner and owner != own}

    def _started(self, first: int | None, last: int | None) -> Iterator[str]:
        """The names of systems that are proven to have started since a change was there."""
        running, now = self.scene.systems.running(), self.scene.circumstance
        before = self.history.circumstance(first) if first is not None else None
        if running and before and before.boot_id and now.boot_id and before.boot_id != now.boot_id:
            yield running.name
        for spot, owner in self._of_others.items():
            number = self.past.changed_in.get(spot, 0)
            if last is not None and number > last and not self._was_here(number):
                yield owner

    def _was_here(self, number: int) -> bool:
        """Whether this system ran all the time between a snapshot and the one before."""
        span, _ = self.of((number - 1, number))
        return span.custody is Custody.HERE


@lru_cache(maxsize=1 << 16)
def _folded(path: str) -> str:
    return fold(uncounted(path))
