"""bootwatch snapshot: take, record, compare, and spool what is to be told."""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bootwatch.keep.damage import DamagedHistory
from bootwatch.keep.files import may_write
from bootwatch.model.moment import Moment
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, Problem, UsageProblem
from bootwatch.service.again import Again, again
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.tell.plain import plain

# All else is read in where it is needed: where nothing changed, nothing of it is.
if TYPE_CHECKING:
    from bootwatch.keep.history import Row

# What the read unit's instances are called when a command wants less or more than a plain reading.
UNTOLD = "asked-untold"
PROGRAMS = "asked-programs"
# A reading on which every single loss is rehearsed.
REHEARSAL = "asked-rehearsal"
# No reading at all: the newest snapshot is compared with a baseline that was saved since.
RECOMPARE = "recompare"
_MOMENTS = (*(moment.value for moment in Moment), UNTOLD, PROGRAMS, REHEARSAL, RECOMPARE)


def add(commands: Any) -> None:
    command = commands.add_parser("snapshot", help="take a snapshot, record it and compare it")
    command.add_argument(
        "--moment",
        default="asked",
        type=_moment,
        metavar="|".join(moment.value for moment in Moment),
        help="why it is taken (default: asked)",
    )
    command.add_argument("--no-tell", action="store_true", help="only record and compare")
    command.add_argument("--to", metavar="FILE", help="put the snapshot into a file; tells nobody")
    command.add_argument("--yes", action="store_true", help="replace the file if it is there")
    command.add_argument("--json", action="store_true", help="as JSON")
    command.set_defaults(run=run)


def _moment(text: str) -> str:
    if text not in _MOMENTS:
        raise argparse.ArgumentTypeError(
            f"{text!r} is none of {', '.join(moment.value for moment in Moment)}"
        )
    return text


def run(arguments: argparse.Namespace) -> int:
    places: Places = arguments.places
    if arguments.to is not None:
        return _run_to(arguments, Path(arguments.to))
    found = None
    if must_ask(places):
        _warn_of_settings(places)
        plain_asked = arguments.moment == "asked"
        ask_for_reading(UNTOLD if plain_asked and arguments.no_tell else arguments.moment)
    else:
        require_rights(places)
        found = take(places, arguments.moment, tell=not arguments.no_tell)
    if found and not arguments.json:
        return _say(found.number, found.said)
    return _show_newest(places, as_json=arguments.json)


def _show_newest(places: Places, *, as_json: bool) -> int:
    from bootwatch.cli.result import newest
    from bootwatch.tell.phrases import NO_BASELINE, one_line

    row = newest(places)
    if row is None:
        raise MachineProblem("No snapshot was recorded.", "See: journalctl -u 'bootwatch-read@*' -n 20")
    if as_json:
        print(json.dumps(_document(row), indent=1))
        return 0
    drift = row.drift
    return _say(row.number, one_line(drift) if drift else NO_BASELINE)


def _say(number: int, line: str) -> int:
    print(f"Snapshot {number} recorded: {plain(line)}.")
    return 0


def take(places: Places, instance: str, *, tell: bool = True) -> Again | None:
    """Do what an instance of the read unit stands for, as the caller. What was found where all is as it was
    at the last reading, else None."""
    moment = Moment.ASKED if instance in (UNTOLD, PROGRAMS, REHEARSAL, RECOMPARE) else Moment(instance)
    found = None
    with contextlib.suppress(DamagedHistory):  # a full reading begins a new one
        found = again(places, moment.value) if instance in (UNTOLD, moment.value) else None
    if found is None:
        _take_in_full(places, instance, moment, tell=tell and instance == moment.value)
    return found


def _take_in_full(places: Places, instance: str, moment: Moment, *, tell: bool) -> None:
    from bootwatch.service.read import recompare
    from bootwatch.service.recording import record

    if instance == RECOMPARE:
        recompare(places)
        return
    reading = record(places, moment, tell=tell, keep_programs=instance == PROGRAMS)
    for trouble in reading.troubles:
        print(f"bootwatch: {plain(trouble.message, 4000)}", file=sys.stderr)
    if instance == REHEARSAL:
        from bootwatch.config import Config
        from bootwatch.service.rehearse import publish_rehearsal

        publish_rehearsal(places, reading, Config.load(places.config))


def _warn_of_settings(places: Places) -> None:
    """The service records in spite of a mistake, and says so in the journal only."""
    from bootwatch.config import Config

    try:
        Config.load(places.config)
    except Problem as problem:
        print(f"bootwatch: {plain(problem.message, 4000)}", file=sys.stderr)


def require_rights(places: Places) -> None:
    """Raise MachineProblem when the caller may not record anything."""
    if not may_write(places.history):
        from bootwatch.service.recording import no_rights

        raise no_rights(places)


def _document(row: Row) -> dict[str, Any]:
    return {
        "format": "bootwatch/snapshot/1",
        "snapshot": row.number,
        "time": row.time,
        "moment": row.moment.value,
        "level": row.result["level"] if row.result else None,
        "gaps": row.overview.get("gaps", []),
        "findings": row.overview.get("findings", []),
    }


def _run_to(arguments: argparse.Namespace, path: Path) -> int:
    from bootwatch.cli.showing import is_only_published, not_allowed
    from bootwatch.keep.snapshot_file import require_free
    from bootwatch.model.gap import Gap
    from bootwatch.service.carry import copy_newest_to, take_to
    from bootwatch.tell.unread import unread

    places: Places = arguments.places
    if arguments.moment != "asked":
        raise UsageProblem("--moment and --to don't go together.", "A snapshot for a file is taken now.")
    is_asked = must_ask(places)
    if not is_asked and is_only_published(places):
        raise not_allowed("a snapshot without them would be full of gaps")
    require_free(path, replace=arguments.yes)  # before the machine is looked at, and once more afterwards
    if is_asked:
        _warn_of_settings(places)
        ask_for_reading(UNTOLD)
        kept = copy_newest_to(places, path, replace=arguments.yes)
    else:
        kept = take_to(places, path, replace=arguments.yes)
    if arguments.json:
        print(json.dumps(_written(path, kept), indent=1))
        return 0
    which = "The snapshot" if kept["number"] is None else f"Snapshot {kept['number']}"
    print(f"{which} of {plain(kept['machine'])} lies in {plain(str(path), 4000)}.")
    gaps = unread([Gap.from_json(gap) for gap in kept["gaps"]], 80, see="see the file")
    if gaps:
        print("\n".join(["", *gaps]))
    return 0


def _written(path: Path, kept: dict[str, Any]) -> dict[str, Any]:
    return {
        "format": "bootwatch/written/1",
        "file": str(path),
        "machine": kept["machine"],
        "snapshot": kept["number"],
        "time": kept["circumstance"]["time"],
        "gaps": kept["gaps"],
    }
