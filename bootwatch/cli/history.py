"""bootwatch history: the recorded snapshots."""

from __future__ import annotations

import argparse
import json
from typing import Any

from bootwatch.cli.snapshot import require_rights
from bootwatch.keep import imported, predictions
from bootwatch.keep.history import History, Row
from bootwatch.keep.snapshot_file import open_file, read
from bootwatch.model.prediction import Outcome, Verdict
from bootwatch.places import Places
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.carry import Brought, bring_in
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import first_seen, moment, one_line, unwatched
from bootwatch.tell.plain import plain

_MOST = 20
_WIDTH = 80
_CAME_TRUE = {Outcome.RIGHT: ", as predicted", Outcome.WRONG: ", not as predicted"}


def add(commands: Any) -> None:
    command = commands.add_parser(
        "history", help="list the recorded snapshots, newest first, or import one from a file"
    )
    command.add_argument("--all", action="store_true", help=f"all of them, not only the newest {_MOST}")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)
    bring = command.add_subparsers(metavar="import").add_parser(
        "import", help="keep a snapshot from a file in the history, apart from the recorded ones"
    )
    bring.add_argument("file", metavar="FILE", help="what snapshot --to wrote, here or on another machine")
    bring.add_argument("--called", help=argparse.SUPPRESS)
    bring.add_argument("--json", action="store_true", help="as JSON")
    bring.set_defaults(run=run_import)


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    with History.look(places.history) as history:
        rows = history.rows(None if arguments.all else _MOST) if history else []
        verdicts = predictions.verdicts(history) if history else {}
        brought = imported.listed(history) if history else []
    if arguments.json:
        snapshots = [_document(row, verdicts.get(row.number)) for row in rows]
        others = [_imported_document(name, kept) for name, kept in brought]
        document = {"format": "bootwatch/history/1", "snapshots": snapshots, "imported": others}
        print(json.dumps(document, indent=1))
        return 0
    if not rows:
        print("No snapshot was recorded yet.")
    for row, older in zip(rows, [*rows[1:], None], strict=False):
        print("\n".join(_lines(row, older, verdicts.get(row.number))))
    if not arguments.all and rows and rows[-1].number > 1:
        print(f"The newest {len(rows)}; --all shows the rest.")
    if brought:
        print("\nImported from files")
    for name, kept in brought:
        print("\n".join(_imported_lines(name, kept)))
    return 0


def _lines(row: Row, older: Row | None, verdict: Verdict | None) -> list[str]:
    drift = row.drift
    said = one_line(drift) if drift else "no baseline to compare with"
    start = "" if older is None or older.boot_id == row.boot_id else "; a new start"
    start += _CAME_TRUE.get(verdict.outcome, "") if verdict and start else ""
    gaps = "; not everything could be read" if row.has_gaps else ""
    new = first_seen(drift, row.number) if drift else ""
    # Said where it was first seen: at the first snapshot of the start that came after it.
    missed = unwatched(drift) if drift and start else ""
    head = f"{row.number:>5}  {moment(row.time)}  {row.moment.value:<8}  "
    parts = [f"{said}{start}{gaps}", f"new: {new}" if new else "", missed]
    return wrapped("; ".join(part for part in parts if part), _WIDTH, head)


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


def _imported_lines(name: str, kept: dict[str, Any]) -> list[str]:
    circumstance = kept["circumstance"]
    head = f"{name:>5}  {moment(circumstance['time'])}  {circumstance['moment']:<8}  "
    return wrapped(_which(kept["machine"], kept["number"]), _WIDTH, head)


def _imported_document(name: str, kept: dict[str, Any]) -> dict[str, Any]:
    circumstance = kept["circumstance"]
    return {
        "name": name,
        "machine": kept["machine"],
        "snapshot": kept["number"],
        "time": circumstance["time"],
        "moment": circumstance["moment"],
    }


def run_import(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    with open_file(arguments.file) as file:
        if must_ask(places):
            own = ["--json"] if arguments.json else []
            handed = ["--called", arguments.file, f"/dev/fd/{file.fileno()}"]
            return as_reader(["history", "import", *own, *handed], [file.fileno()])
        require_rights(places)
        brought = bring_in(places, read(file, arguments.called or arguments.file))
    if arguments.json:
        print(json.dumps(_brought_document(brought), indent=1))
    else:
        print("\n".join(wrapped(" ".join(_brought_sentences(brought)), _WIDTH)))
    return 0


def _brought_document(brought: Brought) -> dict[str, Any]:
    one = _imported_document(brought.name, brought.kept.to_json())
    return {"format": "bootwatch/imported/1", **one, "new": brought.is_new, "own": brought.is_own}


def _brought_sentences(brought: Brought) -> list[str]:
    snapshot = brought.kept.snapshot
    which = _which(brought.kept.machine, snapshot.number)
    when = moment(snapshot.circumstance.time)
    verb = "is kept as" if brought.is_new else "was kept already, as"
    said = [f"{which[:1].upper()}{which[1:]}, {when}, {verb} {brought.name}."]
    if brought.is_own is False:
        said.append("It is of another machine than this one.")
    return said


def _which(machine: str, number: int | None) -> str:
    whose = f"of {plain(machine, 200)}"
    return f"a snapshot {whose}" if number is None else f"snapshot {number} {whose}"
