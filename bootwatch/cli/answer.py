"""bootwatch without a command: the answer in three lines."""

from __future__ import annotations

import argparse

from bootwatch.cli.result import Result, newest, no_baseline, published, status
from bootwatch.cli.routes import published_routes, recorded_routes
from bootwatch.cli.routes import status as routes_status
from bootwatch.cli.showing import Document, is_only_published
from bootwatch.config import Config
from bootwatch.keep.baseline import load_header
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, MachineProblem
from bootwatch.service.read import look_with_routes
from bootwatch.tell.age import age
from bootwatch.tell.phrases import besides_changes, moment, one_line, unwatched
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import next_phrase, systems_phrase
from bootwatch.tell.spoken import spoken


def run(arguments: argparse.Namespace) -> int:
    """Does each system start, what starts next, when was that last checked."""
    places: Places = arguments.places
    Config.load(places.config)
    routes, drift = _newest(places)
    said = systems_phrase(routes["systems"]) + (_weaker(drift) if drift and status(drift) else "")
    print(f"{plain(str(routes['machine']))}: {plain(said, 2000)}")
    print(f"next start: {plain(next_phrase(routes['next_start']), 1000)}")
    missed = unwatched(drift) if drift else ""
    code = f"; on the phone say {spoken(drift, routes)}" if drift and status(drift) else ""
    print(f"last checked: {_when(routes)}{missed and '; ' + missed}{code}")
    if drift is None:
        raise no_baseline(places)
    statuses = {status(drift), routes_status(routes)}
    return next((one for one in (1, 3) if one in statuses), 0)


def _weaker(drift: Drift) -> str:
    """What changed since the baseline that matters, and what is wrong by itself."""
    if any(change.level is not Level.ROUTINE for change in drift.changes):
        return f"; since the baseline {one_line(drift)}"
    return f"; {besides_changes(drift)}"


def _when(routes: Document) -> str:
    if routes["snapshot"] is None:
        return "just now, and not recorded"
    time = str(routes["time"])
    return f"{age(time)}, {moment(time)} (snapshot {routes['snapshot']})"


def _newest(places: Places) -> tuple[Document, Drift | None]:
    """The newest recorded answer; where nothing was recorded, a look at the folder. The drift is None
    without a baseline."""
    if is_only_published(places):
        return published_routes(places), _drift_or_none(places)
    row = newest(places)
    routes = recorded_routes(places, row) if row else None
    if row and routes:
        baseline = load_header(places.baseline)
        return routes, row.drift if baseline else None
    if places.is_this_machine:
        raise MachineProblem("No snapshot was recorded yet.", "Run: sudo bootwatch snapshot")
    reading = look_with_routes(places)
    return reading.routes, reading.drift


def _drift_or_none(places: Places) -> Drift | None:
    try:
        found: Result = published(places)
    except BaselineProblem:
        return None
    return found.drift
