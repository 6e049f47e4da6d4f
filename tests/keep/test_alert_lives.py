"""Whatever happens to a machine, telling keeps its promises."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from bootwatch.keep import alerts, open_changes
from bootwatch.keep.open_changes import Item
from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Finding
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level, worst
from tests.keep.lives import UNSEEN, Life, Message, change, finding, unread

Step = tuple[Any, ...]
VOLUMES = ("gpt:a", "gpt:b")
WAITS = {Level.STRANDED: 7, Level.DIVERTED: 7, Level.WEAKENED: 30}
SPANS = (0.0, 0.1, 1.0, 6.9, 7.0, 31.0, -0.1, -3.0, -400.0, 4000.0)


levels = some.sampled_from((Level.STRANDED, Level.WEAKENED, Level.CHANGED, Level.ROUTINE))
changes = some.builds(change, some.sampled_from("xy"), levels, some.sampled_from("aab"))
appears = some.tuples(some.just("appears"), changes | changes | some.builds(finding, some.just("f"), levels))
names = some.sampled_from(("loader-changed:x", "loader-changed:y", "no-way-left:f"))
goes = some.tuples(some.just("goes"), names)
hides = some.tuples(some.just("hides"), some.sampled_from(VOLUMES), some.booleans())
shows = some.tuples(some.just("shows"), some.sampled_from(VOLUMES))
waits = some.tuples(some.just("waits"), some.sampled_from(SPANS))
others = some.sampled_from((("adopts",), ("loses",), ("quiets", 0.0), ("quiets", 5.0), ("quiets", 40.0)))
steps = some.one_of(appears, appears, appears, goes, hides, shows, shows, waits, waits, others)
# What happens, and after what of the reading that follows the power fails; None: it isn't looked at.
cuts = some.sampled_from(("", "", "", "", "begin", "spool", "confirm", None))
lives = some.lists(some.tuples(steps, cuts), max_size=30)


@dataclass
class Watched:
    """A life, what people know by the messages so far, and what must not be."""

    life: Life = field(default_factory=Life)
    there: dict[str, Item] = field(default_factory=dict)
    dark: dict[str, bool] = field(default_factory=dict)
    # By id and content: how bad people were told that it is.
    said: dict[tuple[str, str], Level] = field(default_factory=dict)
    level: Level | None = None
    elapsed: float = 0.0
    quiet_until: datetime.datetime | None = None

    def happen(self, step: Step, cut: str | None) -> None:
        name, *values = step
        getattr(self, name)(*values)
        if cut is not None:
            self._look(cut, only_clear=False)

    def appears(self, item: Item) -> None:
        self.there[item.id] = item

    def goes(self, own: str) -> None:
        self.there.pop(own, None)

    def hides(self, volume: str, is_noticed: bool) -> None:
        self.dark[volume] = is_noticed

    def shows(self, volume: str) -> None:
        self.dark.pop(volume, None)

    def waits(self, days: float) -> None:
        self.life.wait(days=days)
        self.elapsed += max(days, 0.0)

    def quiets(self, days: float) -> None:
        alert = self.life.alert
        if alert and self.level:
            self.quiet_until = self.life.now + datetime.timedelta(days=days)
            with self.life.history.transaction():
                alerts.set_quiet(self.life.history, alert.number, self.quiet_until.isoformat())

    def loses(self) -> None:
        self.life.lose_history()
        self.said, self.level, self.elapsed, self.quiet_until = {}, None, 0.0, None

    def adopts(self) -> None:
        """A person calls all that can be seen good."""
        self.there = {own: item for own, item in self.there.items() if item not in self.seen()}
        self._look("", only_clear=True)

    def seen(self) -> list[Item]:
        items = [
            item
            for item in self.there.values()
            if (item.scope["volume"] if isinstance(item, Change) else VOLUMES[1]) not in self.dark
        ]
        return [*items, *([UNSEEN] if any(self.dark.values()) else [])]

    def _look(self, cut: str, *, only_clear: bool) -> None:
        seen, gaps = self.seen(), tuple(map(unread, self.dark))
        self._forget_what_is_gone(seen, gaps)
        before = dict(self.life.spool)
        told = self.life.read(*seen, gaps=gaps, cut=cut, only_clear=only_clear)
        for message in told:
            self._heard(message, is_new=message.stage.message not in before, only_clear=only_clear)
        if not cut:
            self._settled(seen, told, only_clear=only_clear)

    def _forget_what_is_gone(self, seen: list[Item], gaps: tuple[Gap, ...]) -> None:
        ids = {item.id for item in seen}
        for own, content in list(self.said):
            volume = "gpt:a" if own.startswith("loader") else ""
            is_hidden = any(gap.name == volume or not volume for gap in gaps)
            if own not in ids and not is_hidden:
                del self.said[own, content]

    def _heard(self, message: Message, *, is_new: bool, only_clear: bool) -> None:
        stage, drift = message.stage, message.drift
        assert is_new, "nothing in the spool is replaced where no power cut was in between"
        items: list[Item] = [*drift.changes, *drift.findings]
        if stage.kind is Kind.ALL_CLEAR:
            assert not any(one.finding == "unseen" for one in drift.findings)
            assert self.level == stage.level
            assert stage.still_open is None or not stage.still_open.at_least(stage.level)
            self.level = stage.still_open
            for item in items:
                self._lower(item)
            if self.level is None:
                self.said, self.quiet_until = {}, None
            # What follows in the same reading is news; a reminder counts from the last message of any kind.
            self.elapsed = 0.0
            return
        assert not only_clear
        if stage.kind is Kind.REMINDER:
            assert stage.level in WAITS and self.elapsed >= WAITS[stage.level]
            assert self.quiet_until is None or self.life.now >= self.quiet_until
            assert not any(self._is_news(item) for item in items)
        else:
            assert stage.number > 1 or self.level is None
            assert stage.news and all(self._is_news(item) for item in items if item.id in stage.news)
        for item in items:
            self._lower(item)
            if item.id in stage.news or self._known(item) is not None:
                self.said[item.id, open_changes.content_of(item)] = item.level
        if self.level is None or not self.level.at_least(stage.level):
            self.level, self.quiet_until = stage.level, None
        self.elapsed = 0.0

    def _lower(self, item: Item) -> None:
        for (own, content), level in self.said.items():
            if own == item.id and level.at_least(item.level):
                self.said[own, content] = item.level

    def _known(self, item: Item) -> Level | None:
        if isinstance(item, Finding):
            return worst(level for (own, _), level in self.said.items() if own == item.id)
        return self.said.get((item.id, open_changes.content_of(item)))

    def _is_news(self, item: Item) -> bool:
        known = self._known(item)
        return _is_loud(item) and (known is None or not known.at_least(item.level))

    def _settled(self, seen: list[Item], told: list[Message], *, only_clear: bool) -> None:
        """After a reading that nothing cut off everybody knows what is, and nothing stays half told."""
        alert = self.life.alert
        assert (alert.level if alert else None) == self.level
        assert alert is None or all(stage.is_spooled for stage in alert.stages)
        if only_clear:
            return
        assert not any(self._is_news(item) for item in seen)
        loud = [item.level for item in seen if _is_loud(item)]
        if not self.dark:
            assert self.level == worst(loud)
        assert alert or not loud


def _is_loud(item: Item) -> bool:
    least = Level.WEAKENED if isinstance(item, Finding) else Level.CHANGED
    return item.level.at_least(least)


def lived(life: list[tuple[Step, str | None]]) -> None:
    watched = Watched()
    for step, cut in life:
        watched.happen(step, cut)


@settings(max_examples=35, deadline=None, derandomize=True)
@given(lives)
def test_any_life(life: list[tuple[Step, str | None]]) -> None:
    lived(life)


@pytest.mark.long
@settings(max_examples=700, deadline=None)
@given(some.lists(some.tuples(steps, cuts), min_size=15, max_size=60))
def test_any_long_life(life: list[tuple[Step, str | None]]) -> None:
    lived(life)


days = some.lists(some.tuples(some.sampled_from(list(Level)), some.floats(0, 3)), min_size=1, max_size=60)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(days)
def test_reminders_come_in_time_where_the_clock_runs_as_it_should(
    life_days: list[tuple[Level, float]],
) -> None:
    """Looked at every three days at least, nobody waits longer than that beyond the time."""
    life, last = Life(), Life().now
    for level, wait in life_days:
        life.wait(days=wait)
        told = life.read(change("x", level))
        last = life.now if told else last
        longest = WAITS.get(level)
        assert longest is None or life.now - last < datetime.timedelta(days=longest)
