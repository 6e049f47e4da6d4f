"""A message in words for a technician: plain text, consequence first, identifiers last."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.accepted import accepted_sentence
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.times import Time
from bootwatch.tell.values import before_and_after

WIDTH = 74
_SUBJECT = 150
_SYSTEM = 60
_MOST = 12
_MOMENTS = {
    "boot": "after a start",
    "asked": "when a person asked",
    "watch": "while the system was running",
    "shutdown": "at a shutdown",
    "resume": "after hibernation",
}
_VERBS = {
    Level.STRANDED: "stranded",
    Level.DIVERTED: "diverted",
    Level.WEAKENED: "weakened",
    Level.CHANGED: "changed",
    Level.ROUTINE: "routine",
}
_LEADS = {
    Level.STRANDED: (
        "{systems} on {machine} would not start at the next switch-on: leave the machine running until "
        "somebody has looked."
    ),
    Level.DIVERTED: "At the next switch-on {machine} would not start {systems}, but something else.",
    Level.WEAKENED: (
        "On {machine} a way of starting {systems}, or a safeguard of it, is gone. What is left is said below."
    ),
    Level.CHANGED: "Something about how {machine} starts {systems} has changed that is worth knowing.",
    Level.ROUTINE: "Something about how {machine} starts {systems} has changed, as expected.",
}
# What is wrong by itself took nothing away, unless it keeps a system from starting.
_NEEDS_A_LOOK = (
    "Something about how {machine} starts {systems} needs a look before it does harm. What it is, and what "
    "to do about it, is said below."
)
_GRAVE = (Level.STRANDED, Level.DIVERTED)

Item = Change | Finding


def subject(message: Message) -> str:
    """One line that says which system of which machine is affected, and by what.

    ``reading-room-3: Fernwick Linux weakened (entry missing, loader missing)``
    """
    worst = _worst_news(message)
    systems = _systems(worst) or "its start"
    shown = phrases.short_names(worst)
    machine = plain(message.machine, _SYSTEM)
    said = f"{machine}: {systems} {_verb(message, worst)}"
    return plain(said + (f" ({shown})" if shown else ""), _SUBJECT)


def _verb(message: Message, worst: list[Item]) -> str:
    level = message.worst_news or Level.ROUTINE
    if worst and _is_by_itself(worst, level):
        return "need a look" if len({item.system for item in worst}) > 1 else "needs a look"
    return _VERBS[level]


def _is_by_itself(worst: list[Item], level: Level) -> bool:
    """Whether what is told is only that something is wrong by itself, and no system is kept from starting."""
    return level not in _GRAVE and all(isinstance(item, Finding) for item in worst)


def body(message: Message) -> str:
    """The whole message; lines of at most 74 columns, ending with a newline."""
    parts = [
        _lead(message),
        *_news(message),
        _when(message),
        _todo(message),
        _cautions(message),
        _also_wrong(message),
        _known(message),
        _gaps(message),
        _identifiers(message),
        _accepted(message),
        _foot(message),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _worst_news(message: Message) -> list[Item]:
    """The news of the worst level. A finding that keeps no system from starting adds nothing to changes."""
    level = message.worst_news
    changes: list[Item] = [change for change in message.new_changes if change.level is level]
    findings: list[Item] = [finding for finding in message.new_findings if finding.level is level]
    return changes + findings if level in _GRAVE else changes or findings


def _systems(items: Iterable[Item]) -> str:
    """The affected systems by name, joined as in a sentence; "" where none is named."""
    names = [plain(name, _SYSTEM) for name in dict.fromkeys(item.system for item in items) if name]
    if len(names) > 2:
        return f"{names[0]} and {len(names) - 1} more systems"
    return " and ".join(names)


def _lead(message: Message) -> list[str]:
    level, worst = message.worst_news or Level.ROUTINE, _worst_news(message)
    lead = _NEEDS_A_LOOK if worst and _is_by_itself(worst, level) else _LEADS[level]
    # The names may hold braces themselves; one pass over the sentence leaves them alone.
    systems = _systems(worst) or "its systems"
    return wrapped(lead.format(machine=plain(message.machine, _SYSTEM), systems=systems), WIDTH)


def _ranked(changes: Iterable[Change]) -> list[Change]:
    return sorted(changes, key=lambda change: change.level.rank)


def _loud(message: Message) -> list[Change]:
    return [change for change in _ranked(message.new_changes) if change.level is not Level.ROUTINE]


def _new_wrong(message: Message) -> list[Finding]:
    found = [finding for finding in message.new_findings if finding.level is not Level.ROUTINE]
    return sorted(found, key=lambda finding: finding.level.rank)


def _wrong_is_worse(message: Message) -> bool:
    """Whether a finding is worse than every change: then it comes first."""
    loud, wrong = _loud(message), _new_wrong(message)
    return bool(wrong) and (not loud or wrong[0].level.rank < loud[0].level.rank)


def _shown(message: Message) -> list[Item]:
    """The news that are gone through one by one, as they are numbered: from 1 in this order."""
    changes: list[Item] = [*_loud(message)[:_MOST]]
    findings: list[Item] = [*_new_wrong(message)[:_MOST]]
    return findings + changes if _wrong_is_worse(message) else changes + findings


def _news(message: Message) -> list[list[str]]:
    """What happened and what is wrong by itself."""
    parts = [_happened(message), _wrong(message)]
    return parts[::-1] if _wrong_is_worse(message) else parts


def _happened(message: Message) -> list[str]:
    if not message.new_changes and message.new_findings:
        return []
    lines, shown = ["WHAT HAPPENED"], 0
    for number, change in enumerate(_shown(message), 1):
        if isinstance(change, Change):
            before, after = before_and_after(change)
            lines += ["", *wrapped(phrases.headline(change), WIDTH, f"{number:2}. ")]
            lines += wrapped(before, WIDTH, "    before: ") + wrapped(after, WIDTH, "    after:  ")
            lines += wrapped(phrases.consequence(change), WIDTH, "    ")
            shown += 1
    return lines + _more(len(message.new_changes) - shown, "more change")


def _wrong(message: Message) -> list[str]:
    found = _new_wrong(message)
    lines = ["WRONG BY ITSELF, AND NEW"] if found else []
    for number, finding in enumerate(_shown(message), 1):
        if isinstance(finding, Finding):
            lines += ["", *wrapped(phrases.headline(finding), WIDTH, f"{number:2}. ")]
            lines += wrapped(phrases.consequence(finding), WIDTH, "    ")
    return lines + _more(len(found) - _MOST, "more finding")


def _more(left: int, noun: str) -> list[str]:
    said = f"and {phrases.counted(left, noun)}: see bootwatch drift"
    return ["", *wrapped(said, WIDTH, "    ")] if left > 0 else []


def _when(message: Message) -> list[str]:
    lines = ["SINCE WHEN" if message.new_changes else "SEEN WHEN", "", *_times(message)]
    moment = _MOMENTS.get(message.moment, plain(message.moment, 40))
    taken = f"Snapshot {message.snapshot} was taken {moment}, {phrases.moment(message.time)}."
    reason = f' ("{plain(message.baseline_reason)}")' if message.baseline_reason else ""
    baseline = f"It is compared with the baseline of {phrases.moment(message.baseline_saved)}{reason}."
    return lines + wrapped(f"{taken} {baseline}", WIDTH)


def _times(message: Message) -> list[str]:
    """Each time in which something happened, with the numbers of what did where there are several."""
    found: dict[Time, list[int]] = {}
    for number, item in enumerate(_shown(message), 1):
        if isinstance(item, Change):
            found.setdefault(Time.of(item), []).append(number)
    lines: list[str] = []
    for time, numbers in found.items():
        which = f"For {', '.join(map(str, numbers))}: {time.since[:1].lower()}{time.since[1:]}"
        lines += [*time.lines(WIDTH, which if len(found) > 1 else ""), ""]
    return lines


def _todo(message: Message) -> list[str]:
    lines = ["WHAT TO DO WHILE THE MACHINE STILL RUNS", ""]
    for sentence, places in phrases.advice(_shown(message)):
        lines += wrapped(f"For {', '.join(map(str, places))}: {sentence}", WIDTH, "  - ")
    return lines if len(lines) > 2 else []


def _cautions(message: Message) -> list[str]:
    sentences = phrases.cautions(_shown(message))
    return ["TAKE CARE", "", *_bullets(sentences)] if sentences else []


def _also_wrong(message: Message) -> list[str]:
    found = _old_wrong(message)
    sentences = [f"{phrases.headline(finding)} {phrases.consequence(finding)}".rstrip() for finding in found]
    return ["ALSO WRONG, WHETHER OR NOT IT CHANGED", "", *_bullets(sentences)] if found else []


def _old_wrong(message: Message) -> list[Finding]:
    """Findings that are no news."""
    new = message.new_findings
    found = [one for one in message.drift.findings if one.level is not Level.ROUTINE and one not in new]
    return sorted(found, key=lambda finding: finding.level.rank)


def _known(message: Message) -> list[str]:
    known = [change for change in _ranked(message.known_changes) if change.level is not Level.ROUTINE]
    if not known:
        return []
    return ["STILL OPEN FROM EARLIER MESSAGES", "", *_bullets([phrases.headline(change) for change in known])]


def _gaps(message: Message) -> list[str]:
    if not message.drift.gaps:
        return []
    heading = "COULD NOT BE READ, SO NOTHING IS SAID ABOUT IT"
    return [heading, "", *_bullets([phrases.gap(gap) for gap in message.drift.gaps])]


def _bullets(sentences: list[str]) -> list[str]:
    lines = [line for sentence in sentences[:_MOST] for line in wrapped(sentence, WIDTH, "  - ")]
    left = len(sentences) - _MOST
    return lines + ([f"  - and {left} more: see bootwatch drift"] if left > 0 else [])


def _accepted(message: Message) -> list[str]:
    sentence = accepted_sentence(message.drift.changes)
    return wrapped(sentence, WIDTH) if sentence else []


def _identifiers(message: Message) -> list[str]:
    items = [*_shown(message), *_old_wrong(message)[:_MOST]]
    return ["IDENTIFIERS", "", *_bullets([phrases.identifiers(item) for item in items])] if items else []


def _foot(message: Message) -> list[str]:
    return [
        "On the machine:",
        "  everything, with both sides    bootwatch drift",
        "  what a change means            bootwatch meaning NAME",
        "  if it is to stay like this     bootwatch baseline save --reason TEXT",
    ]
