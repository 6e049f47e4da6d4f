"""The roll as a table for people, and as JSON (``bootwatch/rollcall/1``)."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from bootwatch.model.instant import written
from bootwatch.rollcall.gather import Gathered
from bootwatch.rollcall.known import Known
from bootwatch.rollcall.roll import Condition, Roll, Row
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted
from bootwatch.tell.plain import columns, plain

FORMAT = "bootwatch/rollcall/1"
_NAME, _STATE, _HEARD = 20, 18, 11
_MOST_UNPROVEN = 50
_DAY = datetime.timedelta(days=1)

_STATES = {
    Condition.LOST: "silent since alert",
    Condition.LATE: "silent too long",
    Condition.NEVER: "never heard",
    Condition.CLAIM: "not proven",
    Condition.TOGETHER: "silent with others",
    Condition.MUTE: "no alert",
    Condition.WELL: "well",
}


def report(roll: Roll, gathered: Gathered, known_file: str, now: datetime.datetime, width: int = 80) -> str:
    """The worst first. Ends with a newline."""
    names = {row.name for row in roll.rows}
    see_to = {row.name for row in roll.rows if not row.is_fine}
    said = "all is well" if names else "no machine was heard"
    if see_to:
        verb = "is" if len(see_to) == 1 else "are"
        said = f"{len(see_to)} of {counted(len(names), 'machine')} {verb} to be seen to"
    lines = wrapped(f"Roll call, {now:%-d %B %Y, %H:%M} UTC: {said}.", width)
    for heading, rows in (("", roll.proven), (_unproven(roll, known_file), roll.unproven)):
        if rows:
            lines += ["", *(wrapped(heading, width) if heading else []), *_table(rows, width)]
    lines += ["", *_mails(gathered, width)]
    return "\n".join(lines) + "\n"


def _unproven(roll: Roll, known_file: str) -> str:
    if roll.proven:
        return "Not proven: anybody may have sent these. They change nothing above."
    return (
        f"Not proven: no key of these is in {plain(known_file)}, so anybody may have sent them. "
        '"bootwatch rollcall SOURCE --keys" prints the lines for it.'
    )


def _table(rows: Sequence[Row], width: int) -> list[str]:
    shown = rows if not rows[0].doubt else rows[:_MOST_UNPROVEN]
    room = min(_NAME, max(columns(row.name) for row in shown))
    lines = [_line("MACHINE", room, "STATE", "LAST HEARD") + "REMARK"]
    together = [row for row in shown if row.condition is Condition.TOGETHER]
    for row in shown:
        if row.condition is not Condition.TOGETHER:
            lines += _entry(_line(row.name, room, _state(row), _heard(row)), remark(row), width)
        elif row is together[0]:
            lines += _entry(_line(f"{len(together)} more", room, _state(row), ""), _company(together), width)
    left = len(rows) - len(shown)
    return lines + ([f"and {left} more: --json lists them all"] if left else [])


def _entry(first: str, said: str, width: int) -> list[str]:
    return [line.rstrip() for line in wrapped(said, width, first, " " * columns(first))]


def _company(rows: Sequence[Row]) -> str:
    """What many do on the same days is one thing to look into."""
    days = sorted(max(round(row.silence / _DAY), 1) for row in rows)
    span = f"{days[0]} to {days[-1]} days" if days[0] < days[-1] else _days(rows[0].silence)
    names = ", ".join(plain(row.name, _NAME) for row in rows)
    return f"{span}: holidays, or their mail doesn't get through: {names}"


def _line(name: str, room: int, state: str, heard: str) -> str:
    """One column apart, however wide the characters of a name are."""
    room = max(room, len("MACHINE"))
    shown = plain(name, room)
    while columns(shown) > room:
        shown = shown[:-1]
    return f"{shown}{' ' * (room - columns(shown))}  {state:<{_STATE}}  {heard:<{_HEARD}}  "


def _state(row: Row) -> str:
    if row.condition is Condition.ALERT and row.level:
        return row.level.value
    return _STATES[row.condition]


def _heard(row: Row) -> str:
    return f"{row.story.last.time:%d %b %Y}" if row.story else "-"


def remark(row: Row) -> str:
    """What there is to say of it, in a few sentences."""
    sentences = [_silence(row), _alert(row), _rhythm(row), _unread(row), _clock(row)]
    if not row.is_alone:
        sentences.insert(0, "another machine has the same name")
    return "; ".join(one for one in (row.doubt, *sentences) if one)


def _silence(row: Row) -> str:
    if row.condition is Condition.NEVER:
        return "it is in the list, and no mail of it is here"
    usual = row.rhythm.usual(row.level) if row.rhythm else None
    if row.condition not in (Condition.LATE, Condition.LOST) or not usual or not row.limit:
        return ""
    times = row.silence / usual
    fold = f"{times:.0f}" if times >= 10 else f"{times:.1f}"
    return f"{_days(row.silence)}; at most {max(round(usual / _DAY), 1)} so far ({fold}-fold)"


def _alert(row: Row) -> str:
    if not row.story:
        return ""
    if row.level is None:
        return "it says that all is well" if row.condition is Condition.CLAIM else ""
    state = row.story.last.state
    said = [] if row.condition is Condition.ALERT else [row.level.value]
    if state.called:  # not by a sign of life
        said.append(f"alert {state.called}")
    if state.next_system:
        usual = {True: " as usual", False: ", not as usual", None: ""}[state.expected]
        said.append(f"starts next: {state.next_system}{usual}")
    return ", ".join(said)


def _rhythm(row: Row) -> str:
    if row.condition is Condition.MUTE:
        return "gave no sign of life so far, so its silence says nothing"
    if row.condition is Condition.WELL and row.rhythm and row.rhythm.is_guessed:
        return "its rhythm is not known yet"
    return ""


def _unread(row: Row) -> str:
    unread = row.story.last.state.unread if row.story else 0
    return f"{counted(unread, 'part')} of it could not be read" if unread else ""


def _clock(row: Row) -> str:
    clock = row.story.last.clock if row.story else datetime.timedelta()
    if not clock:
        return ""
    return f"its clock is {_days(abs(clock))} {'ahead' if clock > datetime.timedelta() else 'behind'}"


def _days(time: datetime.timedelta) -> str:
    return counted(max(round(time / _DAY), 1), "day")


def _mails(gathered: Gathered, width: int) -> list[str]:
    said = f"From {counted(gathered.mails, 'mail')}, {len(gathered.sightings)} with a state that can be read."
    lines = wrapped(said, width)
    if gathered.unread:
        reasons = ", ".join(f"{count} ({why})" for why, count in gathered.unread.most_common(8))
        lines += wrapped(f"Passed over: {reasons}.", width)
    return lines


def keys(gathered: Gathered, known: Known) -> str:
    """A line for each name and key seen together, to be pasted into the list. Ends with a newline."""
    seen: dict[tuple[str, str], list[datetime.datetime]] = {}
    for one in gathered.sightings:
        if one.key:
            seen.setdefault((one.state.machine, one.key), []).append(one.state.time)
    lines = [
        "# Before you put a line into the list: is it the key that packaging/install, or",
        '# "sudo bootwatch machine-key", shows on that machine?',
    ]
    for (name, key), times in sorted(seen.items()):
        note = "in the list already" if known.is_proven(key, name) else "new"
        lines.append(f"# {note}; {counted(len(times), 'state')}, the last of {max(times):%-d %b %Y}")
        lines.append(f"{key} {name}")
    if not seen:
        lines.append("# No mail here is signed.")
    return "\n".join(lines) + "\n"


def document(roll: Roll, gathered: Gathered, now: datetime.datetime) -> dict[str, Any]:
    """The same as JSON. Silences are in days."""
    return {
        "format": FORMAT,
        "time": written(now),
        "mails": gathered.mails,
        "states": len(gathered.sightings),
        "passed_over": dict(gathered.unread),
        "machines": [_json(row) for row in roll.proven],
        "unproven": [_json(row) for row in roll.unproven],
    }


def _json(row: Row) -> dict[str, Any]:
    state = row.story.last.state if row.story else None
    usual = row.rhythm.usual(row.level) if row.rhythm else None
    return {
        "machine": row.name,
        "condition": row.condition.value,
        "see_to": not row.is_fine,
        "proven": not row.doubt,
        "doubt": row.doubt,
        "last_heard": written(row.story.last.time) if row.story else None,
        "snapshot": state.snapshot if state else None,
        "level": row.level.value if row.level else None,
        "open": {level.value: count for level, count in state.open} if state else {},
        "alert": state.called if state else "",
        "next_start": {"system": state.next_system, "expected": state.expected} if state else None,
        "silence": _in_days(row.silence),
        "longest_so_far": _in_days(usual),
        "explained": _in_days(row.limit),
        "sign_of_life": _in_days(row.rhythm.every) if row.rhythm else None,
        "silent_with": row.others,
        "alone_with_its_name": row.is_alone,
        "clock_ahead": _in_days(row.story.last.clock) if row.story else None,
        "unread": state.unread if state else None,
    }


def _in_days(time: datetime.timedelta | None) -> float | None:
    return None if time is None else round(time / _DAY, 1)
