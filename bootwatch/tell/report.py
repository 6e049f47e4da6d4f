"""The drift as a technician reads it: on a terminal and in a pipe the same, without colour."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import one_line
from bootwatch.tell.plain import plain
from bootwatch.tell.unread import unread
from bootwatch.tell.values import before_and_after

__all__ = ["Facts", "drift_report", "one_line"]

_INDENT = " " * 12
_MOST_ROUTINE = 5


@dataclass(frozen=True)
class Facts:
    """What a report says about the comparison itself. Times are UTC in RFC 3339.

    ``snapshot`` is None for a reading that was not recorded.
    """

    machine: str
    time: str
    baseline_saved: str
    baseline_reason: str
    snapshot: int | None = None


def drift_report(drift: Drift, facts: Facts, width: int = 80) -> str:
    """What happened to what, before and after, grouped by system; then findings, then gaps.

    Identifiers come last in each piece. Ends with a newline.
    """
    since = _common_since(drift.changes)
    lines = _head(drift, facts, since, width)
    for system, changes in by_system(drift.changes):
        lines += ["", *wrapped(system or "The machine as a whole", width)]
        shown = _without_crowd(changes)
        for change in shown:
            lines += ["", *_change(change, with_since=since is None, width=width)]
        if len(shown) < len(changes):
            more = phrases.counted(len(changes) - len(shown), "more routine change")
            lines += ["", *wrapped(f"and {more}: --json lists them all", width, _INDENT)]
    if drift.findings:
        lines += ["", *wrapped("Wrong by itself, whether or not it changed", width)]
        for finding in sorted(drift.findings, key=lambda item: item.level.rank):
            lines += ["", *_finding(finding, width)]
    lines += _gaps(drift, width)
    lines += _foot(drift, width)
    return "\n".join(lines) + "\n"


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


def _head(drift: Drift, facts: Facts, since: str | None, width: int) -> list[str]:
    lines = wrapped(f"{plain(facts.machine)}: {one_line(drift)}.", width)
    baseline = f"the baseline of {phrases.moment(facts.baseline_saved)}"
    reason = f' ("{plain(facts.baseline_reason)}")' if facts.baseline_reason else ""
    lines += wrapped(
        f"Compared: {baseline}{reason} with {phrases.reading(facts.snapshot)}, {phrases.moment(facts.time)}.",
        width,
    )
    return lines + (wrapped(since, width) if since else [])


def _common_since(changes: tuple[Change, ...]) -> str | None:
    """What can be said once for all changes, or None where they differ in it."""
    said = {phrases.since(change) for change in changes}
    if len(said) != 1:
        return None
    sentence = said.pop()
    return sentence if len(changes) == 1 else sentence.replace("It happened", "All of it happened", 1)


def _change(change: Change, with_since: bool, width: int) -> list[str]:
    before, after = before_and_after(change)
    lines = wrapped(phrases.headline(change), width, _level(change.level))
    lines += wrapped(before, width, _INDENT + "before  ")
    lines += wrapped(after, width, _INDENT + "after   ")
    if change.level is not Level.ROUTINE:
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


def _foot(drift: Drift, width: int) -> list[str]:
    names = [change.change for change in drift.changes if change.level is not Level.ROUTINE]
    names += [finding.finding for finding in drift.findings]
    if not names:
        return []
    lines = wrapped(f"What to do about it: bootwatch meaning {plain(names[0], 40)}", width)
    if drift.changes:
        lines += wrapped(
            "If it is to stay like this, call it good: bootwatch baseline save --reason TEXT", width
        )
    return ["", *lines]
