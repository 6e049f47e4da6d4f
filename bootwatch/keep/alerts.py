"""Alerts: which episode is open, what was told in it and when, and what is due to be told.

A stage is begun before its message is handed over and confirmed after it. A power cut in between leaves one
that isn't confirmed: the next reading settles that first. If the message lies in the spool, it was told; if
not, the stage never was, and the same told again by the next is the same message.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import secrets
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from bootwatch.keep import open_changes, schema
from bootwatch.keep.canonical import canonical
from bootwatch.keep.history import History
from bootwatch.keep.open_changes import Item
from bootwatch.model.alert import Alert, Kind, Stage
from bootwatch.model.change import Drift
from bootwatch.model.level import Level, worst
from bootwatch.model.message import Message

_WEEK = datetime.timedelta(days=7)
_REMINDED = {
    Level.STRANDED: _WEEK,
    Level.DIVERTED: _WEEK,
    Level.WEAKENED: datetime.timedelta(days=30),
}
_COLUMNS = "number, uid, opened, snapshot, level, ended, how, quiet_until"


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
    if not found and alert and still and _is_reminder_due(history, alert, still, time):
        return [Due(Kind.REMINDER, still, still_open=still)]
    return found


def still_open(history: History, drift: Drift, known: Collection[str]) -> Level | None:
    """The worst level of what people must hear of; what was told and can't be seen now counts as it was."""
    items = open_changes.to_tell(drift, known)
    hidden = (level for level in open_changes.hidden(history, drift) if level is not Level.ROUTINE)
    return worst([*(item.level for item in items), *hidden])


def _is_reminder_due(history: History, alert: Alert, still: Level, time: str) -> bool:
    wait, now = _REMINDED.get(still), _moment(time)
    if wait is None or now is None or _is_quiet(alert, now):
        return False
    said = alert.stages[-1] if alert.stages else None
    last = _counted_from(history, said.snapshot, said.time, now) if said else _moment(alert.opened)
    return last is not None and now - last >= wait


def _counted_from(
    history: History, snapshot: int, time: str, now: datetime.datetime
) -> datetime.datetime | None:
    """When people heard of something last, at ``snapshot``. Where that is still to come, the clock was put
    back since: then it counts from the first snapshot after that, so that a clock that jumps to and fro is no
    reason to write each time."""
    last = _moment(time)
    if last is None or last <= now:
        return last
    row = history.database.execute(
        "SELECT time FROM snapshot WHERE number > ? AND julianday(time) <= julianday(?)"
        " ORDER BY number LIMIT 1",
        (snapshot, now.isoformat()),
    ).fetchone()
    return _moment(row[0]) if row else None


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
    level: str | None,
    ended: str,
    how: str,
    quiet_until: str,
) -> Alert:
    known = Level(level) if level else None
    stages = _stages(history, number)
    return Alert(number, uid, opened, snapshot, known, ended, how, quiet_until, stages)


def _stages(history: History, alert: int) -> tuple[Stage, ...]:
    rows = history.database.execute(
        "SELECT number, kind, snapshot, time, level, still_open, how, news, drift, message, is_spooled"
        " FROM stage WHERE alert = ? ORDER BY number",
        (alert,),
    )
    return tuple(_stage(*row) for row in rows.fetchall())


def _stage(
    number: int,
    kind: str,
    snapshot: int,
    time: str,
    level: str,
    still: str | None,
    how: str,
    news: str,
    drift: str,
    message: str,
    is_spooled: int,
) -> Stage:
    return Stage(
        number=number,
        kind=Kind(kind),
        snapshot=snapshot,
        time=time,
        level=Level(level),
        still_open=Level(still) if still else None,
        how=how,
        news=tuple(json.loads(news)),
        drift=drift,
        message=message,
        is_spooled=bool(is_spooled),
    )


def news_of(history: History, stage: Stage) -> list[Item]:
    """What a stage told of that nobody had heard of yet, as it was then."""
    return _named(history.drift(stage.drift), stage.news)


def _named(drift: Drift, ids: Collection[str]) -> list[Item]:
    items: list[Item] = [*drift.changes, *drift.findings]
    return [item for item in items if item.id in ids]


def is_remembered(history: History, own: str) -> bool:
    """Whether what people were told of by this id is open as far as is known."""
    return history.database.execute("SELECT 1 FROM told WHERE id = ?", (own,)).fetchone() is not None


def begin(
    history: History, one: Due, drift: Drift, *, snapshot: int, time: str, how: str = ""
) -> tuple[Alert, Stage]:
    """The alert and the stage under which ``one`` is handed over. ``how`` says by what something is over.
    Call it inside a transaction."""
    alert = current(history) or _opened(history, snapshot, time)
    number = alert.stages[-1].number + 1 if alert.stages else 1
    news = tuple(item.id for item in one.news)
    own = hashlib.sha256(canonical([alert.uid, number, _content(one)]).encode()).hexdigest()[:32]
    digest = history.store(drift.to_json())
    stage = Stage(
        number, one.kind, snapshot, time, one.level, one.still_open, how, news, digest, own, is_spooled=False
    )
    _insert(history, alert.number, stage)
    return alert, stage


def _insert(history: History, alert: int, stage: Stage) -> None:
    still = stage.still_open and stage.still_open.value
    history.database.execute(
        "INSERT INTO stage VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *(alert, stage.number, stage.kind.value, stage.snapshot, stage.time, stage.level.value, still),
            *(stage.how, canonical(stage.news), stage.drift, stage.message, stage.is_spooled),
        ),
    )


def _opened(history: History, snapshot: int, time: str) -> Alert:
    uid = secrets.token_hex(8)
    cursor = history.database.execute(
        "INSERT INTO alert (uid, opened, snapshot) VALUES (?, ?, ?)", (uid, time, snapshot)
    )
    return Alert(int(cursor.lastrowid or 0), uid, time, snapshot, None)


def _content(one: Due) -> str:
    told: list[Any] = sorted((item.id, open_changes.content_of(item), item.level.value) for item in one.news)
    still = one.still_open.value if one.still_open else None
    return hashlib.sha256(canonical([one.kind.value, one.level.value, still, told]).encode()).hexdigest()


def confirm(history: History, alert: Alert, stage: Stage, *, is_late: bool = False) -> Alert:
    """Remember that the message lies in the spool, and what holds now. Call it inside a transaction.

    ``is_late``: a power cut came in between, and what was asked for since holds.
    """
    drift = history.drift(stage.drift)
    history.database.execute("UPDATE stage SET is_spooled = 1 WHERE message = ?", (stage.message,))
    if stage.kind is not Kind.ALL_CLEAR:
        # The message names all that is open: what grew worse beside the news was told with them.
        items = [*_named(drift, stage.news), *open_changes.grown(history, drift)]
        open_changes.mark_told(history, items, stage.message)
        if not (alert.level and alert.level.at_least(stage.level)):
            alert = replace(alert, level=stage.level)
            if not is_late:
                set_quiet(history, alert.number, "")  # it was asked for what was less
    elif stage.still_open:
        alert = replace(alert, level=stage.still_open)
    else:
        open_changes.forget_told(history)
        alert = replace(alert, level=None, ended=stage.time, how=stage.how)
    open_changes.ease(history, drift)
    history.database.execute(
        "UPDATE alert SET level = ?, ended = ?, how = ? WHERE number = ?",
        (alert.level and alert.level.value, alert.ended, alert.how, alert.number),
    )
    return alert


def settle(history: History, is_in_spool: Callable[[str], bool]) -> None:
    """Settle what a power cut left half told: what lies in the spool was told, what doesn't wasn't. Call it
    inside a transaction.

    ``is_in_spool`` says it of a message's id.
    """
    alert = current(history)
    for stage in [stage for stage in alert.stages if not stage.is_spooled] if alert else ():
        if alert and is_in_spool(stage.message):
            alert = confirm(history, alert, stage, is_late=True)
        else:
            history.database.execute("DELETE FROM stage WHERE message = ?", (stage.message,))


def drop_untold(history: History) -> None:
    """Forget an alert that was begun and of which nobody was told, because it was gone by then. Call it
    inside a transaction."""
    history.database.execute(
        "DELETE FROM alert WHERE level IS NULL AND ended = ''"
        " AND NOT EXISTS (SELECT 1 FROM stage WHERE alert = alert.number)"
    )


def take_up(history: History, drift: Drift, known: Collection[str], *, snapshot: int, time: str) -> None:
    """Open an alert for what a version that knew none told of, and is still there: it isn't told again, and
    its all-clear will come. Call it inside a transaction."""
    level = None if current(history) else open_changes.worst_told(history, drift, known)
    if level:
        alert = _opened(history, snapshot, time)
        history.database.execute("UPDATE alert SET level = ? WHERE number = ?", (level.value, alert.number))


def restore(history: History, number: int, told: Sequence[Message]) -> None:
    """Open an alert again that a lost history held, by its messages that are left, in their order; where the
    last one was its end, it is over. Call it inside a transaction, in a history without alerts."""
    last, first = told[-1], told[0]
    still = last.still_open
    is_over = last.kind is Kind.ALL_CLEAR and still is None
    history.database.execute(
        "INSERT INTO alert (number, uid, opened, snapshot, level, ended, how) VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            *(number, last.alert, last.opened, first.snapshot),
            *((still or last.level).value if not is_over else None, last.time if is_over else "", last.how),
        ),
    )
    for one in told:
        drift = history.store(one.drift.to_json())
        stage = Stage(
            one.stage, one.kind, one.snapshot, one.time, one.level, one.still_open, one.how, one.news, drift,
            one.id, is_spooled=True,
        )  # fmt: skip
        _insert(history, number, stage)
        if not is_over:
            open_changes.mark_told(history, _told_in(one), one.id)


def _told_in(message: Message) -> list[Item]:
    """Each message names all that is open."""
    items: list[Item] = [*message.drift.changes, *message.drift.findings]
    return [item for item in items if item.level is not Level.ROUTINE]


def set_quiet(history: History, number: int, until: str) -> None:
    """No reminders of an alert before ``until``; "" takes that back. Call it inside a transaction."""
    history.database.execute("UPDATE alert SET quiet_until = ? WHERE number = ?", (until, number))


# signs of life


def is_sign_due(history: History, days: int, time: str) -> bool:
    """Whether the last sign of life is ``days`` or longer ago at ``time``."""
    row = history.database.execute(
        "SELECT snapshot, time FROM sign_of_life ORDER BY snapshot DESC LIMIT 1"
    ).fetchone()
    now = _moment(time)
    last = _counted_from(history, row[0], row[1], now) if row and now else None
    if last is None or now is None:
        return True
    # A few hours early rather than a day late: whoever starts the machine each morning does so by no clock.
    return now - last >= datetime.timedelta(days=days, hours=-6)


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
