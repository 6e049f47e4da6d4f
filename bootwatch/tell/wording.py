"""A message in words for a technician: plain text, consequence first, identifiers last."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
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


def subject(message: Message) -> str:
    """One line that says which system of which machine is affected, and by what.

    ``reading-room-3: Fernwick Linux weakened (entry missing, loader missing)``
    """
    worst = _worst_news(message)
    level = message.worst_news or Level.ROUTINE
    systems = _systems(worst) or "its start"
    names = list(dict.fromkeys(_short_name(change) for change in worst))
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    machine = plain(message.machine, _SYSTEM)
    return plain(f"{machine}: {systems} {_VERBS[level]}" + (f" ({shown})" if shown else ""), _SUBJECT)


def body(message: Message) -> str:
    """The whole message; lines of at most 74 columns, ending with a newline."""
    parts = [
        _lead(message),
        _happened(message),
        _when(message),
        _todo(message),
        _cautions(message),
        _findings(message),
        _known(message),
        _gaps(message),
        _identifiers(message),
        _foot(message),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _worst_news(message: Message) -> list[Change]:
    return [change for change in message.new_changes if change.level is message.worst_news]


def _systems(changes: Iterable[Change]) -> str:
    """The affected systems by name, joined as in a sentence; "" where none is named."""
    names = [plain(name, _SYSTEM) for name in dict.fromkeys(change.system for change in changes) if name]
    if len(names) > 2:
        return f"{names[0]} and {len(names) - 1} more systems"
    return " and ".join(names)


def _short_name(change: Change) -> str:
    return plain(change.change, 40).replace("-", " ").replace("secure boot", "Secure Boot")


def _lead(message: Message) -> list[str]:
    systems = _systems(_worst_news(message)) or "its systems"
    lead = _LEADS[message.worst_news or Level.ROUTINE]
    # The names may hold braces themselves; one pass over the sentence leaves them alone.
    return wrapped(lead.format(machine=plain(message.machine, _SYSTEM), systems=systems), WIDTH)


def _ranked(changes: Iterable[Change]) -> list[Change]:
    return sorted(changes, key=lambda change: change.level.rank)


def _loud(message: Message) -> list[Change]:
    return [change for change in _ranked(message.new_changes) if change.level is not Level.ROUTINE]


def _happened(message: Message) -> list[str]:
    changes = _loud(message)
    lines = ["WHAT HAPPENED"]
    for number, change in enumerate(changes[:_MOST], 1):
        lines += ["", *wrapped(phrases.headline(change), WIDTH, f"{number:2}. ")]
        before, after = before_and_after(change)
        lines += wrapped(before, WIDTH, "    before: ") + wrapped(after, WIDTH, "    after:  ")
        lines += wrapped(phrases.consequence(change), WIDTH, "    ")
    left = len(message.new_changes) - len(changes[:_MOST])
    if left:
        lines += [
            "",
            *wrapped(f"and {phrases.counted(left, 'more change')}: see bootwatch drift", WIDTH, "    "),
        ]
    return lines


def _when(message: Message) -> list[str]:
    lines = ["SINCE WHEN", ""]
    for sentence in dict.fromkeys(phrases.since(change) for change in _loud(message)):
        lines += wrapped(sentence, WIDTH)
    moment = _MOMENTS.get(message.moment, plain(message.moment, 40))
    taken = f"Snapshot {message.snapshot} was taken {moment}, {phrases.moment(message.time)}."
    reason = f' ("{plain(message.baseline_reason)}")' if message.baseline_reason else ""
    baseline = f"It is compared with the baseline of {phrases.moment(message.baseline_saved)}{reason}."
    return lines + wrapped(f"{taken} {baseline}", WIDTH)


def _todo(message: Message) -> list[str]:
    lines = ["WHAT TO DO WHILE THE MACHINE STILL RUNS", ""]
    for sentence, places in phrases.advice(_loud(message)[:_MOST]):
        lines += wrapped(f"For {', '.join(map(str, places))}: {sentence}", WIDTH, "  - ")
    return lines if len(lines) > 2 else []


def _cautions(message: Message) -> list[str]:
    sentences = phrases.cautions(_loud(message))
    return ["TAKE CARE", "", *_bullets(sentences)] if sentences else []


def _findings(message: Message) -> list[str]:
    findings = [finding for finding in message.drift.findings if finding.level is not Level.ROUTINE]
    if not findings:
        return []
    sentences = [
        f"{phrases.headline(finding)} {phrases.consequence(finding)}".rstrip() for finding in findings
    ]
    return ["ALSO WRONG, WHETHER OR NOT IT CHANGED", "", *_bullets(sentences)]


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


def _identifiers(message: Message) -> list[str]:
    items: list[Change | Finding] = [*_loud(message)[:_MOST]]
    items += [finding for finding in message.drift.findings if finding.level is not Level.ROUTINE][:_MOST]
    return ["IDENTIFIERS", "", *_bullets([phrases.identifiers(item) for item in items])] if items else []


def _foot(message: Message) -> list[str]:
    return [
        "On the machine:",
        "  everything, with both sides    bootwatch drift",
        "  what a change means            bootwatch meaning NAME",
        "  if it is to stay like this     bootwatch baseline save --reason TEXT",
    ]
