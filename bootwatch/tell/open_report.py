"""The open differences, offered to be taken over into the baseline."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bootwatch.judge.adopted import ONCE
from bootwatch.model.change import Change, Drift
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.report import Facts
from bootwatch.tell.unread import unread

_MOST = 30
_INDENT = " " * 12
_RULE = 1000
_ID = 40


def open_report(drift: Drift, facts: Facts, width: int = 80) -> str:
    """Those that a rule accepted first, by rule; then the others, worst first; and how to take them.

    Ends with a newline.
    """
    accepted = [change for change in drift.changes if change.accepted]
    others = [change for change in drift.changes if not change.accepted]
    lines = _head(len(drift.changes), len(accepted), facts, width)
    for rule in dict.fromkeys(change.accepted for change in accepted):
        held = [change for change in accepted if change.accepted == rule]
        lines += ["", *wrapped(f"Accepted by rule. {plain(rule, _RULE)}", width), *_changes(held, width)]
    if others:
        heading = "Accepted by no rule" if accepted else "What differs"
        lines += ["", heading, *_changes(others, width)]
    hidden = unread(drift.gaps, width, see="--json lists them all")
    lines += ["", *hidden] if hidden else []
    return "\n".join(lines + _foot(bool(accepted), bool(drift.changes), width)) + "\n"


def taking_report(changes: Sequence[Change], wrong: str, width: int = 80) -> str:
    """What would become part of the baseline, and what looks wrong about that. Ends with a newline."""
    lines = ["This would become part of the baseline:", *_changes(changes, width), ""]
    if wrong:
        lines += ["What looks wrong about the baseline then:", *wrong.splitlines(), ""]
    return "\n".join(lines)


def _head(number: int, accepted: int, facts: Facts, width: int) -> list[str]:
    said = f"{phrases.counted(number, 'difference') if number else 'no difference'} from the baseline"
    verb = "are" if number > 1 else "is"
    which = f"{accepted} of them " if accepted < number else "all of them " if number > 1 else ""
    by_rule = f", {which}accepted by rule" if accepted else ""
    lines = wrapped(f"{plain(facts.machine)}: {said} {verb} open{by_rule}.", width)
    reason = f' ("{plain(facts.baseline_reason)}")' if facts.baseline_reason else ""
    baseline = f"the baseline of {phrases.moment(facts.baseline_saved)}{reason}"
    snapshot = f"{phrases.reading(facts.snapshot)}, {phrases.moment(facts.time)}"
    return lines + wrapped(f"Compared: {baseline} with {snapshot}.", width)


def _changes(changes: Sequence[Change], width: int) -> list[str]:
    lines: list[str] = []
    for change in changes[:_MOST]:
        lines += ["", *wrapped(phrases.headline(change), width, f"  {change.level.value:<10}")]
        if change.change == ONCE:
            lines += wrapped("It holds for one start only: no baseline takes it over.", width, _INDENT)
        lines += wrapped(plain(change.id, _ID), width, _INDENT)
    left = len(changes) - _MOST
    return lines + (
        ["", *wrapped(f"and {left} more: --json lists them all", width, _INDENT)] if left > 0 else []
    )


def _foot(is_accepted: bool, is_open: bool, width: int) -> list[str]:
    if not is_open:
        return []
    said = "To take some over into the baseline, name each by its id or by a beginning that no other one has;"
    lines = ["", "Both sides of each: bootwatch drift --json"]
    lines += wrapped(f"{said} all else stays as it was there, and so an open difference:", width)
    lines += ["  bootwatch baseline adopt ID... --reason TEXT"]
    if is_accepted:
        lines += ["To take all that is accepted by rule:"]
        lines += ["  bootwatch baseline adopt --accepted --reason TEXT"]
    return lines


def listed(changes: Iterable[Change], width: int = 80) -> str:
    """The ids as the last lines of a hint: each with what happened."""
    shown = list(changes)
    lines = [
        line
        for change in shown[:_MOST]
        for line in wrapped(phrases.headline(change), width, f"  {plain(change.id, _ID)}  ")
    ]
    left = len(shown) - _MOST
    return "\n".join(lines + ([f"  and {left} more: bootwatch baseline adopt --json"] if left > 0 else []))
