"""What changed between any two snapshots: recorded, imported, or in files."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from bootwatch.config import Config
from bootwatch.judge.drift import compare
from bootwatch.judge.scene import Scene
from bootwatch.keep import churn, imported
from bootwatch.keep.history import History
from bootwatch.keep.snapshot_file import Kept, open_file, read
from bootwatch.model.change import Drift
from bootwatch.model.past import NO_PAST
from bootwatch.model.side import Side, Source
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.spans import Spans

_NUMBER = re.compile(r"[1-9][0-9]{0,17}")


@dataclass(frozen=True)
class Given:
    """One of the two, as the person named it; ``file`` is where its file is opened, usually its name."""

    name: str
    file: str

    @property
    def source(self) -> Source:
        if self.file != self.name:
            return Source.FILE
        if _NUMBER.fullmatch(self.name):
            return Source.HISTORY
        return Source.FILE if imported.number_in(self.name) is None else Source.IMPORTED


@dataclass(frozen=True)
class Between:
    """How the second of two snapshots differs from the first."""

    drift: Drift
    sides: tuple[Side, Side]


def between(places: Places, first: Given, second: Given) -> Between:
    """Compare two snapshots, the first as the earlier one; no baseline is needed. Raises Problem."""
    config = Config.load(places.config)
    with _history(places, (first, second)) as history:
        before, after = _held(first, history), _held(second, history)
        sides = _side(first, before), _side(second, after)
        drift = _compared(history, config, sides, (before, after))
    return Between(drift, sides)


@contextlib.contextmanager
def _history(places: Places, given: Sequence[Given]) -> Iterator[History | None]:
    """The history, where one of the two lies in it."""
    if all(one.source is Source.FILE for one in given):
        yield None
        return
    with History.look(places.history) as history:
        yield history


def _held(given: Given, history: History | None) -> Kept:
    if given.source is Source.FILE:
        with open_file(given.file) as file:
            return read(file, given.name)
    if history is None:
        raise UsageProblem("No snapshot was recorded yet.", f"For a file of that name: ./{given.name}")
    try:
        return _in_history(given, history)
    except KeyError as error:
        _require_kept(given, history)
        hint = f"See: bootwatch history --all. For a file of that name: ./{given.name}"
        raise UsageProblem(f"The history holds no snapshot {given.name}.", hint) from error


def _require_kept(given: Given, history: History) -> None:
    """Raises UsageProblem for a snapshot that the history held once."""
    last = history.last_number()
    if given.source is Source.HISTORY and last and int(given.name) < last:
        raise UsageProblem(
            f"Snapshot {given.name} is no longer kept.",
            "See those that are: bootwatch history --all. How many: keep_snapshots in the settings.",
        )


def _in_history(given: Given, history: History) -> Kept:
    number = imported.number_in(given.name)
    if number is not None:
        return imported.load(history, number)
    row = history.row(int(given.name))
    machine = str(row.overview.get("machine") or "this machine") if row else ""
    return Kept(machine, history.snapshot(int(given.name)))


def _side(given: Given, kept: Kept) -> Side:
    snapshot = kept.snapshot
    time = snapshot.circumstance.time
    return Side(given.name, given.source, kept.machine, kept.machine_id, snapshot.number, time)


def _compared(
    history: History | None, config: Config, sides: tuple[Side, Side], kept: tuple[Kept, Kept]
) -> Drift:
    before, now = (one.snapshot for one in kept)
    is_own = history is not None and sides[1].source is Source.HISTORY
    past = churn.past(history, now.circumstance) if history and is_own else NO_PAST
    given = before.state, before.gaps, now
    found = compare(*given, weights=config.weights, names=config.system_names, past=past)
    if history is None or any(side.source is not Source.HISTORY for side in sides):
        return found.drift
    return _placed(history, found.drift, found.scene, (before.number, now.number))


def _placed(history: History, drift: Drift, scene: Scene, ends: tuple[int | None, int | None]) -> Drift:
    """Who had the machine between the two, and what is known of that time. The earlier one is told by its
    number, whichever was named first."""
    first, last = sorted(number or 0 for number in ends)
    span, known = Spans(history, scene).of((first, last))
    return drift.with_changes(
        tuple(replace(change, between=ends, custody=span.custody, evidence=known) for change in drift.changes)
    )
