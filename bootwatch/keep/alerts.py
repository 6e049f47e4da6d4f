"""Alerts: which episode is open, what was told in it and when, and what is due to be told.

A stage is allocated before its message is handed over and confirmed after it. A power cut in between leaves
one that isn't confirmed: the next reading takes it up again if it has the same to tell, so that the message
keeps its id; else it begins a stage of its own.
"""

from __future__ import annotations

import datetime
import hashlib
import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from bootwatch.keep import open_changes, schema
from bootwatch.keep.canonical import canonical
from bootwatch.keep.history import History
from bootwatch.keep.open_changes import Item
from bootwatch.model.alert import Alert, Kind, Stage
from bootwatch.model.change import Drift
from bootwatch.model.level import Level, worst

_WEEK = datetime.timedelta(days=7)
_REMINDED = {
    Level.STRANDED: _WEEK,
    Level.DIVERTED: _WEEK,
    Level.WEAKENED: datetime.timedelta(days=30),
}
# A clock that is put right is no reason to tell everything again.
_CLOCK = datetime.timedelta(days=2)
_COLUMNS = "number, uid, opened, snapshot, baseline, level, ended, how, quiet_until"


@dataclass(frozen=True)
class Due:
    """Something that is to be told now. ``level``: of an all-clear the worst that is over, else of what is
    told; ``still_open``: the worst that holds now."""

    kind: Kind
    level: Level
    news: tuple[Item, ...] = ()
    still_open: Level | None = None


def due(
    history: History, drift: Drift, known: Collection[str], time: str, *, only_clear: bool = False
) -> list[Due]:
    """What is to be told of a comparison at ``time``, in this order. ``known``: see `open_changes.news`.

    What got better is an all-clear, which the sender tells only those for whom nothing is left open. With
    something unseen nothing got better. ``only_clear``: nothing else is looked for.
    """
    alert, still = current(history), still_open(history, drift, known)
    found: list[Due] = []
    is_seen = not any(one.finding == "unseen" for one in drift.findings)
    if alert and alert.level and is_seen and (still is None or not still.at_least(alert.level)):
        found.append(Due(Kind.ALL_CLEAR, alert.level, still_open=still))
    if only_clear:
        return found
    news = tuple(open_changes.news(history, drift, known))
    level = worst(item.level for item in news)
    if level:
        return [*found, Due(Kind.NEWS, level, news, still)]
    if not found and alert and still and _is_reminder_due(alert, still, time):
        return [Due(Kind.REMINDER, still, still_open=still)]
    return found


def still_open(history: History, drift: Drift, known: Collection[str]) -> Level | None:
    """The worst level of what people must hear of; what was told and can't be seen now counts as it was."""
    items = open_changes.to_tell(drift, known)
    there = {one.id for one in drift.changes} | {one.id for one in drift.findings}
    hidden = [
        Level(level)
        for own, level in history.database.execute("SELECT id, level FROM told").fetchall()
        if own not in there
    ]
    return worst([*(item.level for item in items), *hidden])


def _is_reminder_due(alert: Alert, still: Level, time: str) -> bool:
    wait = _REMINDED.get(still)
    now = _moment(time)
    if wait is None or now is None or _is_quiet(alert, now):
        return False
    told = [_moment(stage.time) for stage in alert.stages if stage.is_spooled]
    last = max((one for one in told if one), default=None)
    # A last telling that is still to come: the clock was put back since.
    return last is not None and (now - last >= wait or last - now > _CLOCK)


def _is_quiet(alert: Alert, now: datetime.datetime) -> bool:
    until = _moment(alert.quiet_until)
    return until is not None and now < until


def _moment(time: str) -> datetime.datetime | None:
    try:
        found = datetime.datetime.fromisoformat(time)
    except ValueError:
        return None
    return found if found.tzinfo else None


# what is kept


def current(history: History) -> Alert | None:
    """The open alert, None where there is none."""
    return next(iter(_alerts(history, "WHERE ended = '' ORDER BY number DESC LIMIT 1")), None)


def listed(history: History, most: int = -1) -> list[Alert]:
    """The newest alerts, newest first; none in a history of before there were any."""
    if schema.version_of(history.database) < schema.ALERTS:
        return []
    return _alerts(history, f"ORDER BY number DESC LIMIT {int(most)}")


def _alerts(history: History, which: str) -> list[Alert]:
    rows = history.database.execute(f"SELECT {_COLUMNS} FROM alert {which}").fetchall()
    return [_alert(history, *row) for row in rows]


def _alert(
    history: History,
    number: int,
    uid: str,
    opened: str,
    snapshot: int,
    baseline: str,
    level: str | None,
    ended: str,
    how: str,
    quiet_until: str,
) -> Alert:
    known = Level(level) if level else None
    stages = _stages(history, number)
    return Alert(number, uid, opened, snapshot, baseline, known, ended, how, quiet_until, stages)


def _stages(history: History, alert: int) -> tuple[Stage, ...]:
    rows = history.database.execute(
        "SELECT number, kind, snapshot, time, level, message, is_spooled FROM stage"
        " WHERE alert = ? ORDER BY number",
        (alert,),
    )
    return tuple(
        Stage(number, Kind(kind), snapshot, time, Level(level), message, bool(is_spooled))
        for number, kind, snapshot, time, level, message, is_spooled in rows.fetchall()
    )


def begin(history: History, one: Due, snapshot: int, time: str, baseline: str) -> tuple[Alert, Stage]:
    """The alert and the stage under which ``one`` is handed over. Call it inside a transaction."""
    alert = current(history) or _opened(history, snapshot, time, baseline)
    content = _content(one)
    row = history.database.execute(
        "SELECT number FROM stage WHERE alert = ? AND content = ? AND is_spooled = 0", (alert.number, content)
    ).fetchone()
    if row:
        return alert, next(stage for stage in alert.stages if stage.number == row[0])
    number = len(alert.stages) + 1
    message = hashlib.sha256(canonical([alert.uid, number, content]).encode()).hexdigest()[:32]
    history.database.execute(
        "INSERT INTO stage VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)",
        (alert.number, number, one.kind.value, snapshot, time, one.level.value, message, content),
    )
    return alert, Stage(number, one.kind, snapshot, time, one.level, message, False)


def _opened(history: History, snapshot: int, time: str, baseline: str) -> Alert:
    uid = secrets.token_hex(8)
    cursor = history.database.execute(
        "INSERT INTO alert (uid, opened, snapshot, baseline) VALUES (?, ?, ?, ?)",
        (uid, time, snapshot, baseline),
    )
    return Alert(int(cursor.lastrowid or 0), uid, time, snapshot, baseline, None)


def _content(one: Due) -> str:
    told: list[Any] = sorted((item.id, open_changes.content_of(item), item.level.value) for item in one.news)
    still = one.still_open.value if one.still_open else None
    return hashlib.sha256(canonical([one.kind.value, one.level.value, still, told]).encode()).hexdigest()


def confirm(
    history: History, alert: Alert, stage: Stage, one: Due, drift: Drift, *, time: str, how: str
) -> Alert:
    """Remember that the message lies in the spool, and what holds now. Call it inside a transaction.

    ``how`` says how the alert ended if this ends it.
    """
    history.database.execute("UPDATE stage SET is_spooled = 1 WHERE message = ?", (stage.message,))
    open_changes.mark_told(history, one.news, stage.message)
    if one.kind is Kind.ALL_CLEAR:
        open_changes.ease(history, drift)
        alert = replace(alert, level=one.still_open)
        if one.still_open is None:
            alert = replace(alert, ended=time, how=how)
    else:
        alert = replace(alert, level=worst(filter(None, [alert.level, one.level])))
    history.database.execute(
        "UPDATE alert SET level = ?, ended = ?, how = ? WHERE number = ?",
        (alert.level and alert.level.value, alert.ended, alert.how, alert.number),
    )
    return alert


def set_quiet(history: History, number: int, until: str) -> None:
    """No reminders of an alert before ``until``; "" takes that back. Call it inside a transaction."""
    history.database.execute("UPDATE alert SET quiet_until = ? WHERE number = ?", (until, number))


# signs of life


def is_sign_due(history: History, days: int, time: str) -> bool:
    """Whether the last sign of life is ``days`` or longer ago at ``time``."""
    row = history.database.execute("SELECT time FROM sign_of_life ORDER BY snapshot DESC LIMIT 1").fetchone()
    last, now = _moment(row[0]) if row else None, _moment(time)
    if last is None or now is None:
        return True
    # A few hours early rather than a day late: whoever starts the machine each morning does so by no clock.
    wait = datetime.timedelta(days=days, hours=-6)
    return now - last >= wait or last - now > _CLOCK


def note_sign(history: History, snapshot: int, time: str, message: str) -> None:
    """Remember a sign of life. Call it inside a transaction."""
    history.database.execute(
        "INSERT OR REPLACE INTO sign_of_life VALUES (?, ?, ?)", (snapshot, time, message)
    )


def starts(history: History, most: int) -> list[str]:
    """When the machine was started last, newest first: the time of each start's first snapshot."""
    rows: Sequence[tuple[str]] = history.database.execute(
        "SELECT time FROM snapshot WHERE number IN (SELECT min(number) FROM"
        " (SELECT number, boot_id FROM snapshot ORDER BY number DESC LIMIT ?) GROUP BY boot_id)"
        " ORDER BY number DESC LIMIT ?",
        (most * 4, most),
    ).fetchall()
    return [time for (time,) in rows]
