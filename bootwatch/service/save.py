"""Making a recorded snapshot the baseline: what an administrator's command does."""

from __future__ import annotations

import contextlib
import errno
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.keep import baseline as baselines
from bootwatch.keep import spares
from bootwatch.keep.files import alone_in
from bootwatch.keep.history import History
from bootwatch.model.snapshot import State
from bootwatch.observe.snapshot import utc_now
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.recover.made_anew import made_anew
from bootwatch.service.read import PROGRAMS
from bootwatch.tell.plain import plain

_LOG_LINE = 4000


@dataclass(frozen=True)
class Saved:
    """Where the baseline lies. ``without`` are the paths of programs that no spare could be kept of,
    ``without_files`` what a start needs and no spare is ever kept of (`recover.made_anew`)."""

    place: Path
    without: list[str]
    without_files: list[dict[str, Any]]

    def to_json(self) -> dict[str, Any]:
        return {"file": str(self.place), "without": self.without, "without_files": self.without_files}


def save_baseline(places: Places, number: int, reason: str, by: str) -> Saved:
    """Make snapshot ``number`` the baseline: spares, then the file, then a line in the log.

    Raises Problem when it can't be written. Nothing in the snapshot is parsed here but its JSON.
    """
    with History.look(places.history) as history:
        if history is None:
            raise Problem("There is no history to take the snapshot from.", "Run: bootwatch snapshot")
        row, parts = history.row(number), history.parts(number)
    if row is None:
        raise Problem(f"The history holds no snapshot {number}.", "See: bootwatch history")
    saved = utc_now()
    machine = str(row.overview.get("machine") or "this machine")
    document = baselines.make_document(
        machine=machine,
        saved=saved,
        reason=reason,
        by=by,
        snapshot=number,
        parts=parts,
        gaps=row.overview["gaps"],
        overview=row.overview,
    )
    return write_baseline(places, document, f"saved by {by} from snapshot {number}: {reason}")


def write_baseline(
    places: Places, document: dict[str, Any], said: str, *, meant_for: str | None = None
) -> Saved:
    """Put a baseline in the place of the current one; ``said`` is what the log says of it. See above.

    ``meant_for`` is the digest of the one that it is to replace, None where any will do.
    """
    try:
        with alone_in(places.baseline):
            if meant_for is not None and meant_for != _digest(places):
                raise replaced()
            wanted = spares.wanted(document["state"])
            _complete_log(places)
            lacking = spares.take_over(places.history / PROGRAMS, places.spares, wanted)
            path = baselines.save(places.baseline, document)
            _log(places, plain(f"{document['saved']} baseline {said}", _LOG_LINE))
    except OSError as error:
        raise Problem(
            f"The baseline can't be written to {places.baseline}: {error.strerror}.", _hint(error)
        ) from error
    return Saved(path, lacking, made_anew(State.from_parts(document["state"]), document["overview"]))


def _digest(places: Places) -> str | None:
    former = baselines.load_header(places.baseline)
    return former.digest if former else None


def _complete_log(places: Places) -> None:
    """Add the line on the current baseline where whoever saved it was cut off before that. Raises OSError."""
    with contextlib.suppress(Problem):  # of one that can't be read `baselines.save` says it
        found = baselines.load_header(places.baseline)
        if found and not baselines.is_logged(places.baseline, found.saved):
            said = f"{found.saved} baseline saved by {found.by}: {found.reason} (this line was added later)"
            baselines.append_log(places.baseline, plain(said, _LOG_LINE))


def _log(places: Places, line: str) -> None:
    try:
        baselines.append_log(places.baseline, line)
    except OSError as error:
        raise Problem(
            f"The baseline is saved, but not the line on it in {places.baseline}/log: {error.strerror}.",
            _hint(error),
        ) from error


def _hint(error: OSError) -> str:
    is_ours = error.errno in (errno.EACCES, errno.EPERM)
    return "Run it with sudo." if is_ours else "See whether its disk is full, read-only or failing."


def replaced() -> Problem:
    """What to say where the baseline is another one than the new one was made for."""
    return Problem("The baseline was replaced meanwhile; nothing was saved.", "Run the command once more.")
