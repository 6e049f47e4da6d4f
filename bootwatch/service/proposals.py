"""Plans that no baseline bears out: entries for systems without a route, a second route, a trial.

Worked out by the reader's user like any plan; root holds each step against disks and files that it reads
itself.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from functools import partial

from bootwatch.config import Config
from bootwatch.judge.systems import Systems
from bootwatch.keep.history import History
from bootwatch.model.snapshot import Snapshot, State
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.recover.present import Present
from bootwatch.recover.propose import propose
from bootwatch.recover.record import Record
from bootwatch.recover.second_route import second_route
from bootwatch.recover.steps import SetNext, Step, WriteFile
from bootwatch.recover.trial import trial
from bootwatch.service.asked import Asked, Document, Kind, plan_document, require_known
from bootwatch.service.read import load_baseline, machine_name
from bootwatch.service.settings import settings_of
from bootwatch.service.trusting import doubtful
from bootwatch.service.writing import carry_out, steps_of


def proposal_of(places: Places, snapshot: Snapshot, asked: Asked) -> Document:
    """What is asked for, worked out from a snapshot. Raises Problem."""
    config = settings_of(places)
    makers: dict[Kind, Callable[[Snapshot, Config, State | None, Asked], Document]] = {
        Kind.WITHOUT_BASELINE: _entries,
        Kind.ADD_ROUTE: partial(_route, places),
        Kind.TRIAL: _trial,
    }
    baseline = load_baseline(places) if asked.kind is not Kind.WITHOUT_BASELINE else None
    before = baseline.state if baseline else None
    made = makers[asked.kind](snapshot, config, before, asked)
    return made | {"baseline": None, "machine": machine_name(config, snapshot), "system": asked.system}


def write_proposal(places: Places, made: Document, asked: Asked, *, by: str) -> Record | None:
    """Carry its steps out; None where all is as it should be. Raises Stopped, Problem."""
    steps = steps_of(made)
    present = Present(Machine(places.root), _sources(made))
    present.require(steps)
    _require_kind(steps, asked.kind)
    if not steps:
        return None
    about = {"kind": asked.kind.value, "machine": str(made["machine"]), "system": asked.system}
    about |= {"snapshot": _newest(places), "own": str(made.get("own", ""))}
    return carry_out(places, steps, present.copy, by=by, **about)


def _require_kind(steps: list[Step], kind: Kind) -> None:
    """A start for once is written by a trial and by nothing else, and a trial writes nothing else; files are
    copied for a second route alone."""
    is_wrong = any(isinstance(step, SetNext) is not (kind is Kind.TRIAL) for step in steps)
    if is_wrong or (kind is not Kind.ADD_ROUTE and any(isinstance(step, WriteFile) for step in steps)):
        raise Problem("The plan holds what wasn't asked for; nothing was written.")


def _newest(places: Places) -> str:
    """The number of the newest snapshot, by which what comes later is told; "" where nothing is recorded."""
    with contextlib.suppress(Problem), History.look(places.history) as history:
        rows = history.rows(1) if history else []
        return str(rows[0].number) if rows else ""
    return ""


def _sources(made: Document) -> dict[str, tuple[str, str]]:
    try:
        found = made.get("sources", {}).items()
        return {str(own): (str(volume), str(path)) for own, (volume, path) in found}
    except (AttributeError, TypeError, ValueError) as error:
        raise Problem(f"The plan can't be used ({error}); nothing was written.") from error


def _systems(snapshot: Snapshot, config: Config, before: State | None) -> Systems:
    states = (*((before,) if before else ()), snapshot.state)
    return Systems.learn(states, config.system_names, snapshot.circumstance)


def _entries(snapshot: Snapshot, config: Config, before: State | None, asked: Asked) -> Document:
    def learn(*states: State) -> Systems:
        return Systems.learn(states, config.system_names, snapshot.circumstance)

    found = propose(snapshot.state, snapshot.gaps, learn)
    left = [{"what": what, "why": why} for what, why in found.left]
    made = plan_document(asked.kind, "", snapshot, found.steps, found.now, found.then)
    return made | {"left": left, "noted": list(found.noted)}


def _route(
    places: Places, snapshot: Snapshot, config: Config, before: State | None, asked: Asked
) -> Document:
    require_known(_systems(snapshot, config, before), [asked.system])
    found = second_route(snapshot, before, config.system_names, asked.system)
    made = plan_document(asked.kind, "", snapshot, found.steps, found.now, found.then)
    points = {
        when: [{"loss": loss, "effect": effect} for loss, effect in each]
        for when, each in (("before", found.before), ("after", found.after))
    }
    sources = {own: list(place) for own, place in found.sources.items()}
    left = [{"what": asked.system, "why": found.why_not}] if found.why_not else []
    trust = {"secure_boot": doubtful(places, snapshot, found.steps, found.then)}
    return made | trust | {"left": left, "single_points": points, "remedy": found.what, "sources": sources}


def _trial(snapshot: Snapshot, config: Config, before: State | None, asked: Asked) -> Document:
    systems = _systems(snapshot, config, before)
    require_known(systems, [asked.system])
    found = trial(snapshot.state, snapshot.gaps, systems, asked.system)
    steps = [found.step] if found.step else []
    left = [{"what": asked.system, "why": found.why_not}] if found.why_not else []
    running = systems.running()
    is_own = bool(running and running.name == asked.system)
    return plan_document(asked.kind, "", snapshot, steps, found.now, found.then) | {
        "left": left,
        "own": is_own,
    }
