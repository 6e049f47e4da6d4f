"""The drift as a technician reads it: on a terminal and in a pipe the same, without colour."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level, worst
from bootwatch.model.side import Side
from bootwatch.tell import pair_words, phrases
from bootwatch.tell.accepted import accepted_lines, unaccepted
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import one_line
from bootwatch.tell.plain import plain
from bootwatch.tell.times import Time, times
from bootwatch.tell.unread import unread
from bootwatch.tell.values import before_and_after

__all__ = ["Facts", "drift_report", "one_line"]

_INDENT = " " * 12
_MOST_ROUTINE = 5
_MOST_TIMES = 6


@dataclass(frozen=True)
class Facts:
    """What a report says about the comparison itself. Times are UTC in RFC 3339.

    ``snapshot`` is None for a reading that was not recorded. ``sides`` are the two snapshots that were
    compared with each other, None for a comparison with the baseline.
    """

    machine: str
    time: str
    baseline_saved: str
    baseline_reason: str
    snapshot: int | None = None
    sides: tuple[Side, Side] | None = None

    @property
    def is_timed(self) -> bool:
        """Whether anything can be said of when the changes happened."""
        return self.sides is None or pair_words.are_recorded(self.sides)


def drift_report(drift: Drift, facts: Facts, width: int = 80) -> str:
    """What happened to what, before and after, grouped by system; then what is expected, findings, gaps.

    A finding that is worse than every change comes first. Identifiers come last in each piece. Ends with a
    newline.
    """
    spans = times(drift.changes) if facts.is_timed else []
    blocks = [_changed(drift, spans, width), _wrong(drift, width)]
    if _wrong_is_worse(drift):
        blocks.reverse()
    lines = _head(drift, facts, spans, width) + blocks[0] + blocks[1]
    lines += _gaps(drift, width)
    lines += _foot(drift, facts, width)
    return "\n".join(lines) + "\n"


def _changed(drift: Drift, spans: list[Time], width: int) -> list[str]:
    lines: list[str] = []
    for system, changes in by_system(unaccepted(drift.changes)):
        lines += ["", *wrapped(system or "The machine as a whole", width)]
        shown = _without_crowd(changes)
        for change in shown:
            lines += ["", *_change(change, with_since=len(spans) > 1, width=width)]
        if len(shown) < len(changes):
            more = phrases.counted(len(changes) - len(shown), "more routine change")
            lines += ["", *wrapped(f"and {more}: --json lists them all", width, _INDENT)]
    expected = accepted_lines(drift.changes, width, with_time=len(spans) > 1)
    return lines + (["", *expected] if expected else []) + _known(drift, spans, width)


def _known(drift: Drift, spans: list[Time], width: int) -> list[str]:
    """What is known of the times in which something happened that matters, where the head can't say it."""
    loud = [change for change in drift.changes if change.level is not Level.ROUTINE]
    found = [time for time in times(loud) if time.known]
    if len(spans) < 2 or not found:
        return []
    lines = ["", *wrapped(f"What is known of {'that time' if len(found) == 1 else 'those times'}", width)]
    for time in found[:_MOST_TIMES]:
        lines += ["", *wrapped(f"{time.when[:1].upper()}{time.when[1:]}", width, "  ")]
        lines += time.bullets(width, "    - ")
    left = len(found) - _MOST_TIMES
    more = wrapped(f"and of {phrases.counted(left, 'more time')}: --json lists them all", width, "  ")
    return lines + (["", *more] if left > 0 else [])


def _wrong(drift: Drift, width: int) -> list[str]:
    lines = ["", *wrapped("Wrong by itself, whether or not it changed", width)] if drift.findings else []
    for finding in sorted(drift.findings, key=lambda item: item.level.rank):
        lines += ["", *_finding(finding, width)]
    return lines


def _wrong_is_worse(drift: Drift) -> bool:
    found = worst(finding.level for finding in drift.findings)
    return found is not None and found.rank < (drift.level or Level.ROUTINE).rank


def by_system(changes: Iterable[Change]) -> list[tuple[str | None, list[Change]]]:
    """``changes`` grouped by system, what matters most first; what belongs to no system comes last."""
    groups: dict[str | None, list[Change]] = {}
    for change in sorted(changes, key=lambda change: change.level.rank):
        groups.setdefault(change.system, []).append(change)
    return sorted(groups.items(), key=lambda group: group[0] is None)


def _without_crowd(changes: list[Change]) -> list[Change]:
    """All that matter and a few of the routine ones: an update of a system changes files by the hundred."""
    loud = [change for change in changes if change.level is not Level.ROUTINE]
    return loud + [change for change in changes if change.level is Level.ROUTINE][:_MOST_ROUTINE]


def _head(drift: Drift, facts: Facts, spans: list[Time], width: int) -> list[str]:
    since = _since(drift, spans[0], width) if len(spans) == 1 else []
    if facts.sides:
        return [*pair_words.head(drift, facts.machine, facts.sides, width), *since]
    lines = wrapped(f"{plain(facts.machine)}: {one_line(drift)}.", width)
    baseline = f"the baseline of {phrases.moment(facts.baseline_saved)}"
    reason = f' ("{plain(facts.baseline_reason)}")' if facts.baseline_reason else ""
    lines += wrapped(
        f"Compared: {baseline}{reason} with {phrases.reading(facts.snapshot)}, {phrases.moment(facts.time)}.",
        width,
    )
    return lines + since


def _since(drift: Drift, time: Time, width: int) -> list[str]:
    """When all of it happened, and what is known of that time."""
    what = "The change" if len(drift.changes) == 1 else "Every change"
    return time.lines(width, time.since.replace("It happened", f"{what} happened", 1))


def _change(change: Change, with_since: bool, width: int) -> list[str]:
    before, after = before_and_after(change)
    lines = wrapped(phrases.headline(change), width, _level(change.level))
    lines += wrapped(before, width, _INDENT + "before  ")
    lines += wrapped(after, width, _INDENT + "after   ")
    if change.level is not Level.ROUTINE or change.consequence:
        lines += wrapped(phrases.consequence(change), width, _INDENT)
    if with_since:
        lines += wrapped(phrases.since(change), width, _INDENT)
    return lines + wrapped(phrases.identifiers(change), width, _INDENT)


def _finding(finding: Finding, width: int) -> list[str]:
    lines = wrapped(phrases.headline(finding), width, _level(finding.level))
    lines += wrapped(phrases.consequence(finding), width, _INDENT)
    return lines + wrapped(phrases.identifiers(finding), width, _INDENT)


def _level(level: Level) -> str:
    return f"  {level.value:<10}"


def _gaps(drift: Drift, width: int) -> list[str]:
    lines = unread(drift.gaps, width, see="--json lists them all")
    return ["", *lines] if lines else []


def _foot(drift: Drift, facts: Facts, width: int) -> list[str]:
    loud: list[Change | Finding] = [one for one in drift.changes if one.level is not Level.ROUTINE]
    items = sorted([*loud, *drift.findings], key=lambda item: item.level.rank)
    names = [item.change if isinstance(item, Change) else item.finding for item in items]
    if not names:
        return []
    lines = wrapped(f"What to do about it: bootwatch meaning {plain(names[0], 40)}", width)
    if any(one.level.at_least(Level.WEAKENED) for one in loud) and facts.sides is None:
        lines += wrapped("What would bring it back: sudo bootwatch restore", width)
    if loud and facts.sides is None:
        lines += wrapped(
            "If it is to stay like this, call it good: bootwatch baseline save --reason TEXT", width
        )
    return ["", *lines]
