"""Gathering how what is kept is: the history, the baseline, its spares, the kit, the last restore."""

from __future__ import annotations

import contextlib
import itertools
import re
from pathlib import Path
from typing import Any

from bootwatch.keep import baseline as baselines
from bootwatch.keep import kit_note, schema, soundness, spares
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.recover.kit import is_kit, read_about
from bootwatch.recover.kit_files import files_at
from bootwatch.recover.record import Record
from bootwatch.service.alerts import recorded
from bootwatch.service.confirming import last_restore

_MOST = 5
_SPARE = re.compile("[0-9a-f]{64}")

Document = dict[str, Any]


def of_kept(places: Places) -> Document:
    """What `Gathered` holds of them; whatever can't be read is told as what is wrong."""
    return _of_history(places) | _of_baseline(places) | _of_restores(places)


def _of_history(places: Places) -> Document:
    found: Document = {}
    try:
        with History.look(places.history) as history:
            if history:
                schema.require_known(history.database, places.history / FILE_NAME)
            rows = history.rows(1) if history else []
            if history and rows:
                found["compared"] = rows[0].baseline
                found["last_start"] = rows[0].boot_id
                found["unkept"] = _unkept(places, history, rows[0].number)
            # The last one, since damage may end the look.
            found["history_faults"] = _faults(history) if history else []
        found["read"] = rows[0].time if rows else None
        alerts = recorded(places, 0)["alerts"]
        found["alert"] = alerts[0] if alerts else None
    except schema.NewerHistory as newer:
        found |= {"history_trouble": newer.message, "history_mend": newer.hint}
    except Problem as problem:
        found["history_trouble"] = problem.message
    return found


def _faults(history: History) -> list[str]:
    """What is not as it was recorded, the first few of it."""
    if not history.has_former:  # of the version before; the next reading chains its records
        return []
    return list(itertools.islice(soundness.faults(history), _MOST))


def _unkept(places: Places, history: History, number: int) -> list[str]:
    """What the last restore wrote and the start after it lost."""
    with contextlib.suppress(KeyError, ValueError, TypeError):  # damage, which the chain tells
        found = last_restore(places, history.snapshot(number))
        if found and found["started"] and found["finished"]:
            return [str(one) for one in found["dropped"]]
    return []


def _of_baseline(places: Places) -> Document:
    try:
        baseline = baselines.load(places.baseline)
    except Problem as problem:
        return {"baseline_trouble": problem.message, "baseline_mend": problem.hint}
    if baseline is None:
        return {"baseline": ""}
    lacking = [
        path for own, path in spares.wanted(baseline.parts).items() if not spares.read(places.spares, own)
    ]
    return {
        "baseline": baseline.saved,
        "baseline_digest": baseline.digest,
        "is_logged": _is_logged(places, baseline),
        "spares_lacking": sorted(lacking),
        "spares_damaged": _damaged_spares(places.spares),
        "kit_here": _has_kit(places, baseline) if places.is_this_machine else None,
        "kit_elsewhere": kit_note.standing(places.kit, baseline.digest).value,
    }


def _is_logged(places: Places, baseline: Baseline) -> bool:
    try:
        lines = (places.baseline / "log").read_text("utf-8", "replace").splitlines()
    except OSError:
        return False
    return any(line.startswith(f"{baseline.saved} baseline ") for line in lines)


def _damaged_spares(folder: Path) -> list[str]:
    try:
        names = sorted(path.name for path in folder.iterdir() if _SPARE.fullmatch(path.name))
    except OSError:
        return []
    return [str(folder / name) for name in names if spares.read(folder, name) is None]


def _has_kit(places: Places, baseline: Baseline) -> bool:
    """Whether the kit that is kept on the machine is of this baseline."""
    try:
        return any(_is_of(path, baseline) for path in places.kit.iterdir() if is_kit(path))
    except OSError:
        return False


def _is_of(path: Path, baseline: Baseline) -> bool:
    with contextlib.suppress(Problem, OSError):
        return bool(read_about(files_at(path))["baseline"]["digest"] == baseline.digest)
    return False


def _of_restores(places: Places) -> Document:
    try:
        last = Record.newest(places.restores)
    except Problem as problem:
        return {"records_trouble": problem.message}
    except OSError:
        return {}
    return {"unfinished": str(last.document.get("began", ""))} if last and not last.is_finished else {}
