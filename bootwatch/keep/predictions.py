"""What was predicted to start next, what then started, and what firmware was seen to do in between.

A row of ``prediction`` for each snapshot, one of ``start`` for the first snapshot of each start, and one of
``sighting`` for each habit seen there. Equal predictions are stored once.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from bootwatch.keep import compact
from bootwatch.keep.history import History
from bootwatch.model.change import Custody
from bootwatch.model.habit import Habit, SeenHabit, Sighting
from bootwatch.model.prediction import Outcome, Prediction, Start, Target, Verdict
from bootwatch.model.snapshot import Moment

# How many misses are named.
_MOST = 20


@dataclass(frozen=True)
class Miss:
    """A prediction that did not come true: made from snapshot ``predicted``, seen in ``snapshot``."""

    snapshot: int
    time: str
    predicted: int
    why: str

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))


@dataclass(frozen=True)
class Record:
    """How often predictions came true here. ``judged`` counts right and wrong ones, ``unknown`` those of
    which nothing can be said; ``wrong`` names the newest misses."""

    right: int
    judged: int
    unknown: int
    wrong: tuple[Miss, ...]


def keep(history: History, number: int, prediction: Prediction) -> None:
    """Keep what is predicted from a snapshot. Call it inside the transaction that records the snapshot."""
    own = history.store(prediction.to_json())
    content = compact.document(history.database, own)
    history.database.execute("INSERT INTO forecast VALUES (?, ?)", (number, content))


def prediction_of(history: History, number: int) -> Prediction | None:
    """What was predicted from a snapshot; None for one of before predictions were kept."""
    row = history.database.execute(
        "SELECT text FROM prediction JOIN document ON digest = content WHERE snapshot = ?", (number,)
    ).fetchone()
    return Prediction.from_json(json.loads(row[0])) if row else None


def add_start(history: History, start: Start, seen: list[Sighting]) -> None:
    """Record one start and the habits seen on the way to it. Call it inside the same transaction."""
    target, verdict = start.target or Target(), start.verdict
    words = (
        verdict.outcome.value if verdict else None,
        verdict.why if verdict else "",
        target.entry,
        target.volume,
        target.file,
        json.dumps(target.identity),
    )
    history.database.execute(
        "INSERT INTO begun VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (start.snapshot, start.predicted, *(compact.word(history.database, text) for text in words)),
    )
    history.database.executemany(
        "INSERT INTO sighting VALUES (?, ?, ?, ?)",
        [(start.snapshot, one.habit.value, one.custody.value, one.what) for one in seen],
    )


def last_look(history: History, number: int) -> tuple[int, str | None, Moment] | None:
    """The newest snapshot before ``number``: its number, boot id and moment."""
    row = history.database.execute(
        "SELECT number, boot_id, moment FROM snapshot WHERE number < ? ORDER BY number DESC LIMIT 1",
        (number,),
    ).fetchone()
    return (row[0], row[1], Moment(row[2])) if row else None


def first_look(history: History, boot_id: str) -> int | None:
    """The first snapshot of the newest start, None unless that is the start with this boot id."""
    row = history.database.execute(
        "SELECT number, boot_id FROM snapshot WHERE number = (SELECT max(snapshot) FROM start)"
    ).fetchone()
    return row[0] if row and row[1] == boot_id else None


def used(history: History) -> dict[Target, int]:
    """What really started this system so far, each with the newest snapshot that shows it."""
    columns = "entry, volume, file, identity, snapshot"
    former = f" UNION ALL SELECT {columns} FROM former_target" if history.has_former else ""
    rows = history.database.execute(
        "SELECT entry, volume, file, identity, max(snapshot)"
        f" FROM (SELECT {columns} FROM {'used' if history.is_compact else 'start'}{former})"
        " WHERE volume IS NOT NULL GROUP BY volume, file, identity"
    )
    return {
        Target(entry, volume, file, tuple(json.loads(identity))): number
        for entry, volume, file, identity, number in rows
    }


def first_start_after(history: History, number: int) -> tuple[int, Target] | None:
    """The first snapshot of the first start after snapshot ``number``, and what started it; None where there
    is none yet."""
    if not history.has_predictions:
        return None
    row = history.database.execute(
        "SELECT snapshot, entry, volume, file, identity FROM start WHERE snapshot > ?"
        " ORDER BY snapshot LIMIT 1",
        (number,),
    ).fetchone()
    return (row[0], Target(row[1], row[2], row[3], tuple(json.loads(row[4])))) if row else None


def record(history: History) -> Record:
    """How often predictions came true; those misses are named whose snapshots are kept."""
    former = " UNION ALL SELECT outcome, starts FROM former_outcome" if history.has_former else ""
    own = "outcomes" if history.is_compact else "(SELECT outcome, 1 AS starts FROM start)"
    counts = dict(
        history.database.execute(
            f"SELECT outcome, sum(starts) FROM (SELECT outcome, starts FROM {own}{former}) GROUP BY outcome"
        ).fetchall()
    )
    right, wrong = counts.get(Outcome.RIGHT.value, 0), counts.get(Outcome.WRONG.value, 0)
    rows = history.database.execute(
        "SELECT start.snapshot, time, predicted, why FROM start JOIN snapshot ON number = start.snapshot"
        " WHERE outcome = ? ORDER BY start.snapshot DESC LIMIT ?",
        (Outcome.WRONG.value, _MOST),
    )
    misses = tuple(Miss(*row) for row in rows)
    return Record(right, right + wrong, counts.get(Outcome.UNKNOWN.value, 0), misses)


def habits(history: History) -> list[SeenHabit]:
    """What was seen from one start to the next, most often first; `is_habit` says which are habits."""
    # Beside max(), SQLite takes the other columns from the row that has the maximum.
    former = " UNION ALL SELECT * FROM former_habit" if history.has_former else ""
    query = f"""
        SELECT habit, sum(times), sum(proven), max(snapshot), time, what FROM (
            SELECT habit, 1 AS times, custody = ? AS proven, sighting.snapshot AS snapshot, time, what
            FROM sighting JOIN snapshot ON number = sighting.snapshot{former}
        ) GROUP BY habit ORDER BY sum(times) DESC, habit
    """
    rows = history.database.execute(query, (Custody.ELSEWHERE.value,)).fetchall()
    restarts = starts(history) - 1
    return [
        SeenHabit(Habit(habit), times, restarts, proven, time, number, what)
        for habit, times, proven, number, time, what in rows
    ]


def starts(history: History) -> int:
    """How many starts were recorded so far."""
    queries = ["SELECT count(*) FROM start"]
    if history.has_former:
        queries.append("SELECT coalesce(sum(starts), 0) FROM former_outcome")
    return sum(int(history.database.execute(query).fetchone()[0]) for query in queries)


def retire(history: History, number: int) -> None:
    """Sum up what a snapshot that is no longer kept shows of starts. Call it before its rows are dropped."""
    database = history.database
    database.execute(
        "INSERT INTO former_outcome SELECT coalesce(outcome, ''), 1 FROM start WHERE snapshot = ?"
        " ON CONFLICT DO UPDATE SET starts = starts + 1",
        (number,),
    )
    same = "former.volume = start.volume AND former.file IS start.file AND former.identity = start.identity"
    database.execute(
        "DELETE FROM former_target AS former WHERE snapshot < ?1"
        f" AND EXISTS (SELECT 1 FROM start WHERE snapshot = ?1 AND {same})",
        (number,),
    )
    database.execute(
        "INSERT INTO former_target SELECT volume, file, identity, entry, start.snapshot, time"
        " FROM start JOIN snapshot ON number = start.snapshot WHERE number = ? AND volume IS NOT NULL"
        f" AND NOT EXISTS (SELECT 1 FROM former_target AS former WHERE {same})",
        (number,),
    )
    database.execute(
        "INSERT INTO former_habit SELECT habit, 1, custody = ?, number, time, what"
        " FROM sighting JOIN snapshot ON number = sighting.snapshot WHERE number = ?"
        " ON CONFLICT DO UPDATE SET times = times + 1, proven = proven + excluded.proven,"
        " what = iif(snapshot < excluded.snapshot, excluded.what, what),"
        " time = iif(snapshot < excluded.snapshot, excluded.time, time),"
        " snapshot = max(snapshot, excluded.snapshot)",
        (Custody.ELSEWHERE.value, number),
    )


def verdicts(history: History) -> dict[int, Verdict]:
    """The verdicts by the first snapshot of the start that they are about."""
    if not history.has_predictions:
        return {}
    rows = history.database.execute("SELECT snapshot, outcome, why FROM start WHERE outcome IS NOT NULL")
    return {number: Verdict(Outcome(outcome), why) for number, outcome, why in rows}


def proven(history: History) -> dict[str, dict[str, Any]]:
    """Routes and loaders that were really used, by `Target.keys`, each with its newest snapshot and date."""
    found: dict[str, dict[str, Any]] = {}
    for target, number in sorted(used(history).items(), key=lambda item: item[1]):
        found |= {key: {"date": _time_of(history, number), "snapshot": number} for key in target.keys}
    return found


def _time_of(history: History, number: int) -> str:
    """When a snapshot was taken by which a start is known, kept or not."""
    tables = (
        {"snapshot": "number", "former_target": "snapshot"} if history.has_former else {"snapshot": "number"}
    )
    found = (
        history.database.execute(f"SELECT time FROM {table} WHERE {column} = ?", (number,)).fetchone()
        for table, column in tables.items()
    )
    return next((str(row[0]) for row in found if row), "")


def summary(history: History) -> dict[str, Any]:
    """All of it as plain JSON values; what a history of an earlier version doesn't have is empty."""
    if not history.has_predictions:
        return {"right": 0, "judged": 0, "unknown": 0, "misses": [], "habits": [], "proven": {}}
    so_far = record(history)
    return {
        "right": so_far.right,
        "judged": so_far.judged,
        "unknown": so_far.unknown,
        "misses": [miss.to_json() for miss in so_far.wrong],
        "habits": [habit.to_json() for habit in habits(history) if habit.is_habit],
        "proven": proven(history),
    }
