"""Snapshots that leave the history as files, and files that come in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.keep import imported
from bootwatch.keep.history import History
from bootwatch.keep.snapshot_file import Kept, make_document, write
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.alone import alone
from bootwatch.service.read import observed


def take_to(places: Places, path: Path, *, replace: bool) -> dict[str, Any]:
    """Look at the machine as the caller and put the snapshot at ``path``; nothing is recorded, and no
    baseline is needed. Returns its document. Raises Problem."""
    reading = observed(places)
    document = Kept(reading.machine, reading.snapshot).to_json()
    write(path, document, replace=replace)
    return document


def copy_newest_to(places: Places, path: Path, *, replace: bool) -> dict[str, Any]:
    """Put the newest recorded snapshot at ``path``. Nothing in it is parsed but its JSON. Returns its
    document. Raises Problem."""
    with History.look(places.history) as history:
        row = next(iter(history.rows(1)), None) if history else None
        circumstance = history.circumstance(row.number) if history and row else None
        if history is None or row is None or circumstance is None:
            raise MachineProblem(
                "No snapshot was recorded.", "See: journalctl -u bootwatch-read@asked-untold -n 20"
            )
        document = make_document(
            machine=str(row.overview.get("machine") or "this machine"),
            number=row.number,
            circumstance=circumstance.to_json(),
            gaps=row.overview["gaps"],
            parts=history.parts(row.number),
        )
    write(path, document, replace=replace)
    return document


@dataclass(frozen=True)
class Brought:
    """A snapshot that is kept in the history now. ``is_new`` is False for one that was there already;
    ``is_own`` says whether it is of the machine whose history it is, None where that can't be told."""

    name: str
    kept: Kept
    is_new: bool
    is_own: bool | None


def bring_in(places: Places, kept: Kept) -> Brought:
    """Keep a snapshot from a file in the history, beside those that were recorded. Raises Problem."""
    with alone(places), History.open(places.history) as history, history.transaction():
        name, is_new = imported.bring_in(history, kept)
        own = _machine_id(history)
    is_own = None if own is None or kept.machine_id is None else own == kept.machine_id
    return Brought(name, kept, is_new, is_own)


def _machine_id(history: History) -> str | None:
    """Whose history it is, by its newest snapshot."""
    number = history.last_number()
    found = history.state(number, ("facts",))[0].facts.get("machine_id") if number is not None else None
    return found if isinstance(found, str) else None
