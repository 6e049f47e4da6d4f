"""What is said of each machine."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from bootwatch.model.level import Level
from bootwatch.rollcall import together
from bootwatch.rollcall.heard import Story, stories
from bootwatch.rollcall.known import Known
from bootwatch.rollcall.rhythm import Rhythm, Span, learn
from bootwatch.rollcall.sighting import Sighting

_DIGITS = 15
_NONE = datetime.timedelta()
# Where there is a list, what is unproven is shown while it is fresh: or else a machine that somebody made up
# would be missed for ever.
_FRESH = datetime.timedelta(days=35)


class Condition(StrEnum):
    """What a machine is called to the roll with."""

    LOST = "silent since alert"
    ALERT = "alert"
    LATE = "late"
    NEVER = "never heard"
    CLAIM = "unproven"
    TOGETHER = "silent with others"
    MUTE = "mails alerts only"
    WELL = "well"


_FINE = (Condition.MUTE, Condition.WELL)


@dataclass(frozen=True)
class Row:
    """One machine. ``doubt``: why nothing proves that it was this machine, "" where it is proven. ``silence``
    is the time since it was heard last, ``others`` how many fell silent with it. ``is_alone``: no other
    machine has its name."""

    name: str
    condition: Condition
    doubt: str = ""
    story: Story | None = None
    rhythm: Rhythm | None = None
    silence: datetime.timedelta = _NONE
    others: int = 0
    is_alone: bool = True

    @property
    def level(self) -> Level | None:
        return self.story.last.state.level if self.story else None

    @property
    def is_fine(self) -> bool:
        return self.condition in _FINE

    @property
    def limit(self) -> datetime.timedelta | None:
        """The longest silence that would be explained."""
        return self.rhythm.limit(self.level) if self.rhythm else None

    @property
    def _rank(self) -> tuple[int, int, float, list[tuple[int, str]]]:
        """Worst first."""
        grave = self.level is not None and self.level.at_least(Level.DIVERTED)
        place = {
            Condition.LOST: 0,
            Condition.ALERT: 1 if grave else 5,
            Condition.LATE: 2,
            Condition.NEVER: 3,
            Condition.CLAIM: 4,
            Condition.TOGETHER: 6,
            Condition.MUTE: 7,
            Condition.WELL: 8,
        }[self.condition]
        excess = self.silence / self.limit if self.limit and place in (0, 2) else 0.0
        return place, self.level.rank if self.level else 9, -excess, _natural(self.name)


def _natural(name: str) -> list[tuple[int, str]]:
    """As people sort: 2 before 10."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", name)
    return [(int(piece[:_DIGITS]), piece) if piece[0] in "0123456789" else (-1, piece) for piece in pieces]


@dataclass(frozen=True)
class Roll:
    """``proven``: machines of the list, and what they said themselves; ``unproven``: what anybody may have
    said. The worst first in both."""

    proven: tuple[Row, ...]
    unproven: tuple[Row, ...]

    @property
    def rows(self) -> tuple[Row, ...]:
        return (*self.proven, *self.unproven)

    @property
    def is_fine(self) -> bool:
        return all(row.is_fine for row in self.rows)


def call(sightings: Iterable[Sighting], known: Known, now: datetime.datetime) -> Roll:
    """The roll at ``now``. What is unproven changes nothing of what is said of proven machines."""
    proven: dict[str, list[Sighting]] = {}
    unproven: dict[tuple[str, str, str], list[Sighting]] = {}
    for one in sightings:
        state = one.state
        if known.is_proven(one.key, state.machine):
            proven.setdefault(state.machine, []).append(one)
        else:
            unproven.setdefault((state.machine, state.id, known.doubt(one.key)), []).append(one)
    told = [(name, story) for name, ones in proven.items() for story in stories(ones, now)]
    rows = _named_alike(judged(told, now))
    rows += [Row(name, Condition.NEVER) for name in known.machines - proven.keys()]
    return Roll(_sorted(rows), _sorted(_doubted(unproven, known, now)))


def judged(told: Sequence[tuple[str, Story]], now: datetime.datetime) -> list[Row]:
    """Machines whose words count for each other: who pauses together is seen in their midst alone."""
    spans = together.shared([story.on for _, story in told])
    rows = [_row(name, story, spans, now) for name, story in told]
    late = [row for row in rows if row.condition is Condition.LATE]
    return [row for row in rows if row.condition is not Condition.LATE] + _grouped(late, len(rows))


def _row(name: str, story: Story, spans: Sequence[Span], now: datetime.datetime) -> Row:
    rhythm = learn(story.on, story.signs, spans, story.last.state.sign_of_life)
    last = story.last.time
    silence = max(now - last, _NONE)
    level = story.last.state.level
    limit = rhythm.limit(level)
    is_late = limit is not None and silence > limit
    if level and is_late:
        condition = Condition.LOST
    elif is_late:
        condition = Condition.LATE
    elif level:
        condition = Condition.ALERT
    else:
        condition = Condition.WELL if rhythm.every else Condition.MUTE
    return Row(name, condition, "", story, rhythm, silence)


def _grouped(late: Sequence[Row], machines: int) -> list[Row]:
    """Those that fell silent with many others make one thing to look into."""
    last = [row.story.last.time for row in late if row.story]
    counts = together.silent_together(last)
    return [
        replace(row, condition=Condition.TOGETHER, others=count - 1)
        if count >= together.enough(machines)
        else row
        for row, count in zip(late, counts, strict=True)
    ]


def _doubted(
    groups: dict[tuple[str, str, str], list[Sighting]], known: Known, now: datetime.datetime
) -> list[Row]:
    """Judged like the others, so that a roll call works without a list; but in the name of a machine of the
    list they are a claim and nothing else."""
    keys = {str(number): key for number, key in enumerate(groups)}
    told = [(number, story) for number, key in keys.items() for story in stories(groups[key], now)]
    rows = []
    for row in judged(told, now):
        key = keys[row.name]
        name, _, doubt = key
        if known.machines and now - _newest(groups[key]) > _FRESH:
            continue
        condition = Condition.CLAIM if name in known.machines else row.condition
        rows.append(replace(row, name=name, condition=condition, doubt=doubt))
    return rows


def _named_alike(rows: Sequence[Row]) -> list[Row]:
    counts = Counter(row.name for row in rows)
    return [replace(row, is_alone=counts[row.name] == 1) for row in rows]


def _newest(sightings: Sequence[Sighting]) -> datetime.datetime:
    return max(one.came or one.dated or one.state.time for one in sightings)


def _sorted(rows: Iterable[Row]) -> tuple[Row, ...]:
    return tuple(sorted(rows, key=lambda row: row._rank))
