"""What a command shows: a fresh reading, one that a unit took, or the newest recorded one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bootwatch.cli.showing import is_all_unread, left_by_reader, not_allowed
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History, Row
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, MachineProblem
from bootwatch.service.uefi import require_uefi
from bootwatch.tell.board import document
from bootwatch.tell.report import Facts


def no_baseline(places: Places) -> BaselineProblem:
    """What to say where nothing was saved yet; on a machine without UEFI, that nothing can be."""
    said = "There is no baseline yet, so there is nothing to compare with."
    try:
        require_uefi(Machine(places.root))
    except MachineProblem as problem:
        return BaselineProblem(said, f"{problem.message}\n{problem.hint}")
    return BaselineProblem(
        said, "When both systems start as they should, say so: sudo bootwatch baseline save --reason TEXT"
    )


@dataclass(frozen=True)
class Result:
    """A drift with what is needed to show it. ``recorded`` is True for one that wasn't taken just now."""

    drift: Drift
    facts: Facts
    recorded: bool = False

    @classmethod
    def of_row(cls, row: Row, drift: Drift, baseline: Baseline, *, recorded: bool = False) -> Result:
        """A recorded comparison, as the history holds it."""
        machine = str(row.overview.get("machine") or baseline.machine)
        facts = Facts(machine, row.time, baseline.saved, baseline.reason, row.number)
        return cls(drift, facts, recorded)

    def to_json(self) -> dict[str, Any]:
        return document(self.drift, self.facts)


def status(drift: Drift) -> int:
    """1 a known change or finding above routine, 3 something that the baseline holds wasn't seen, else 0."""
    unseen = [finding for finding in drift.findings if finding.finding == "unseen"]
    levels = [change.level for change in drift.changes]
    levels += [finding.level for finding in drift.findings if finding not in unseen]
    if any(level is not Level.ROUTINE for level in levels):
        return 1
    return 3 if unseen or is_all_unread(drift.gaps) else 0


def newest(places: Places) -> Row | None:
    """The newest recorded snapshot, None where there is none. Raises Problem when that can't be read."""
    with History.look(places.history) as history:
        rows = history.rows(1) if history else []
    return rows[0] if rows else None


def published(places: Places) -> Result:
    """What the reader left for everybody to read.

    Raises BaselineProblem where it found no baseline, MachineProblem where it left nothing.
    """
    left = left_by_reader(places, "drift.json")
    try:
        if left is None:
            raise not_allowed()
        baseline = left["baseline"]
        if baseline is None:
            raise no_baseline(places)
        facts = Facts(left["machine"], left["time"], baseline["saved"], baseline["reason"], left["snapshot"])
        return Result(Drift.from_json(left), facts, recorded=True)
    except (ValueError, KeyError, TypeError) as error:
        raise not_allowed() from error
