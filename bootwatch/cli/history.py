"""bootwatch history: the recorded snapshots."""

from __future__ import annotations

import argparse
import json
from typing import Any

from bootwatch.keep import predictions
from bootwatch.keep.history import History, Row
from bootwatch.model.prediction import Outcome, Verdict
from bootwatch.places import Places
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import moment, one_line

_MOST = 20
_WIDTH = 80
_CAME_TRUE = {Outcome.RIGHT: ", as predicted", Outcome.WRONG: ", not as predicted"}


def add(commands: Any) -> None:
    command = commands.add_parser("history", help="list the recorded snapshots, newest first")
    command.add_argument("--all", action="store_true", help=f"all of them, not only the newest {_MOST}")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    with History.look(places.history) as history:
        rows = history.rows(None if arguments.all else _MOST) if history else []
        verdicts = predictions.verdicts(history) if history else {}
    if arguments.json:
        snapshots = [_document(row, verdicts.get(row.number)) for row in rows]
        print(json.dumps({"format": "bootwatch/history/1", "snapshots": snapshots}, indent=1))
        return 0
    if not rows:
        print("No snapshot was recorded yet.")
        return 0
    for row, older in zip(rows, [*rows[1:], None], strict=True):
        print("\n".join(_lines(row, older, verdicts.get(row.number))))
    if not arguments.all and rows[-1].number > 1:
        print(f"The newest {len(rows)}; --all shows the rest.")
    return 0


def _lines(row: Row, older: Row | None, verdict: Verdict | None) -> list[str]:
    drift = row.drift
    said = one_line(drift) if drift else "no baseline to compare with"
    start = "" if older is None or older.boot_id == row.boot_id else "; a new start"
    start += _CAME_TRUE.get(verdict.outcome, "") if verdict and start else ""
    gaps = "; not everything could be read" if row.has_gaps else ""
    head = f"{row.number:>5}  {moment(row.time)}  {row.moment.value:<8}  "
    return wrapped(f"{said}{start}{gaps}", _WIDTH, head)


def _document(row: Row, verdict: Verdict | None) -> dict[str, Any]:
    return {
        "snapshot": row.number,
        "time": row.time,
        "moment": row.moment.value,
        "boot_id": row.boot_id,
        "level": row.result["level"] if row.result else None,
        "changes": [change["id"] for change in row.result["changes"]] if row.result else None,
        "gaps": row.has_gaps,
        "state": row.state,
        "prediction": {"outcome": verdict.outcome.value, "why": verdict.why} if verdict else None,
    }
