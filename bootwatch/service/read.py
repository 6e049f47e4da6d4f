"""One reading: observe, record, compare, hand over what is to be told."""

from __future__ import annotations

import contextlib
import sqlite3
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from bootwatch.config import Config
from bootwatch.keep import alerts, churn, kit_note, open_changes, predictions
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.files import may_write
from bootwatch.keep.history import History
from bootwatch.keep.programs import Programs
from bootwatch.keep.prune import prune
from bootwatch.keep.receipts import sweep
from bootwatch.keep.spool import Spool
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot
from bootwatch.model.spoken import Kit
from bootwatch.observe.answers import Questioned
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import observe
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service import again
from bootwatch.service.ahead import Judged, judged, record_of, with_record
from bootwatch.service.alone import alone
from bootwatch.service.confirming import confirm, with_unkept
from bootwatch.service.in_force import in_force
from bootwatch.service.new_history import go_on
from bootwatch.service.settings import settings_of
from bootwatch.service.spans import place_in_time
from bootwatch.service.starts import keep_prediction
from bootwatch.service.steady import is_steady
from bootwatch.service.telling import Found, hand_over, publish_alert, seen_when_saved, settle
from bootwatch.service.uefi import require_uefi
from bootwatch.tell import board, metrics
from bootwatch.tell.phrases import NO_BASELINE, one_line
from bootwatch.tell.report import Facts
from bootwatch.tell.spoken import spoken

_CACHE = "baseline-cache"
PROGRAMS = "programs"


@dataclass(frozen=True)
class Reading:
    """What one look at the machine gave. ``baseline`` and ``drift`` are None where nothing was saved yet.

    ``routes`` is what starts and what starts next, as it is shown; empty where that wasn't asked for.
    ``next_expected``: whether the usual system starts next, and ``files_untouched``: whether people's files
    are where they were; None where that isn't known.
    ``hidden``: how bad each is that people were told of and that can't be seen now.
    ``is_steady``: whether another one that finds all as it is would come to the same (`service.again`).
    ``troubles``: mistakes in the settings or the baseline, in spite of which the snapshot was recorded.
    """

    machine: str
    snapshot: Snapshot
    baseline: Baseline | None
    drift: Drift | None
    routes: dict[str, Any] = field(default_factory=dict)
    next_expected: bool | None = None
    files_untouched: bool | None = None
    hidden: tuple[Level, ...] = ()
    troubles: tuple[Problem, ...] = ()
    is_steady: bool = False

    @property
    def facts(self) -> Facts:
        """What a report says about the comparison. Only where there is a baseline."""
        return Facts(
            machine=self.machine,
            time=self.snapshot.circumstance.time,
            baseline_saved=self.baseline.saved if self.baseline else "",
            baseline_reason=self.baseline.reason if self.baseline else "",
            snapshot=self.snapshot.number,
        )


def observed(places: Places) -> Reading:
    """Read, and compare and record nothing: what is done for a folder that stands for a machine.

    Raises MachineProblem where there is neither UEFI nor a baseline.
    """
    config, baseline = _given(places)
    return _observed(places, config, baseline)


def look(places: Places) -> Reading | None:
    """The same, compared. None, and nothing is read, where there is no baseline to compare with."""
    config, baseline = _given(places)
    if baseline is None:
        return None
    reading = _observed(places, config, baseline)
    found = judged(reading.snapshot, baseline, config, _past(places, reading.snapshot, baseline))
    return _compared(places, config, reading, found)


def look_with_routes(places: Places) -> Reading:
    """The same with what starts and what starts next, which needs no baseline."""
    config, baseline = _given(places)
    reading = _observed(places, config, baseline)
    found = judged(reading.snapshot, baseline, config, _past(places, reading.snapshot, baseline))
    reading = _compared(places, config, reading, found)
    routes = _shown(found.routes(), reading.machine, reading.snapshot, record_of(places))
    routes |= _kit_of(places, baseline)
    return replace(reading, routes=routes)


def _given(places: Places) -> tuple[Config, Baseline | None]:
    if places.from_kit:
        return settings_of(places), load_baseline(places)
    return Config.load(places.config), baselines.load(places.baseline, places.history / _CACHE)


def _observed(places: Places, config: Config, baseline: Baseline | None) -> Reading:
    if baseline is None:
        require_uefi(Machine(places.root))
    named = baseline.state.volumes if baseline else ()
    snapshot = observe(Machine(places.root), Moment.ASKED, named=named)
    return Reading(machine_name(config, snapshot), snapshot, baseline, None)


def _compared(places: Places, config: Config, reading: Reading, found: Judged) -> Reading:
    drift, baseline = found.drift, reading.baseline
    if baseline and drift:
        with contextlib.suppress(Problem), History.look(places.history) as history:
            if history:
                drift = place_in_time(history, drift, baseline.digest, found.scene, config.rules)
    return replace(reading, drift=drift)


def _past(places: Places, snapshot: Snapshot, baseline: Baseline | None) -> Past:
    with contextlib.suppress(Problem), History.look(places.history) as history:
        if history:
            return past_of(places, history, snapshot, baseline)
    return NO_PAST


def past_of(places: Places, history: History, snapshot: Snapshot, baseline: Baseline | None) -> Past:
    """What the history and the last restore's record show together, for a snapshot of this machine."""
    past = churn.past(history, snapshot.circumstance)
    return with_unkept(past, places, history, snapshot, baseline)


def _shown(
    document: dict[str, Any], machine: str, snapshot: Snapshot, record: dict[str, Any]
) -> dict[str, Any]:
    time = snapshot.circumstance.time
    return with_record(document, machine=machine, snapshot=snapshot.number, time=time, record=record)


def _kit_of(places: Places, baseline: Baseline | None) -> dict[str, str]:
    """What is said of the last recovery kit that was put elsewhere; nothing where none was."""
    kit = kit_note.standing(places.kit, baseline.digest) if baseline else Kit.NONE
    return {} if kit is Kit.NONE else {"kit": kit.value}


def read(places: Places, moment: Moment, *, tell: bool = True, keep_programs: bool = False) -> Reading:
    """Read, record and compare; spool what people were not told of yet, unless ``tell`` is False.

    ``keep_programs`` leaves a copy of each program in the reader's folder, for whoever saves a baseline.
    Raises Problem when nothing could be recorded, or the message not spooled.
    """
    programs = Programs(places.history / PROGRAMS) if keep_programs else None
    machine, before = Questioned(places.root), again.given(places)

    def taken(baseline: Baseline | None, last: Circumstance | None) -> Snapshot:
        named = baseline.state.volumes if baseline else ()
        keep = programs.keep if programs else None
        snapshot = observe(machine, moment, named=named, keep_program=keep, last=last)
        if programs:
            programs.drop_others()
        return snapshot

    reading = _kept(places, taken, tell)
    number = reading.snapshot.number
    if reading.is_steady and machine.taken.is_whole and number and not reading.troubles:
        said = one_line(reading.drift) if reading.drift else NO_BASELINE
        again.remember(places, before, machine.taken.entries, number, said)
    return reading


def keep_snapshot(places: Places, snapshot: Snapshot, *, tell: bool = True) -> Reading:
    """The same with a snapshot that was taken already."""
    return _kept(places, lambda baseline, last: snapshot, tell)


def _kept(
    places: Places, take: Callable[[Baseline | None, Circumstance | None], Snapshot], tell: bool
) -> Reading:
    settings = in_force(places)
    config, trouble = settings.config, settings.trouble
    baseline, baseline_trouble = _baseline_or_none(places)
    if baseline is None and baseline_trouble is None:
        require_uefi(Machine(places.root))
    with alone(places), History.open(places.history) as history:
        go_on(history, places, baseline)
        reading = _record(history, places, config, baseline, take(baseline, history.last_circumstance()))
        _tell(history, places, config, reading, tell=tell)
        reading = replace(reading, is_steady=reading.is_steady and not _owes_sign(history, config, reading))
        sweep(Spool(places.spool), places.receipts)
        _drop_old(history, config)
        publish(places, reading, baseline_trouble, settings.log_in)
    return replace(reading, troubles=tuple(one for one in (trouble, baseline_trouble) if one))


def _owes_sign(history: History, config: Config, reading: Reading) -> bool:
    """Whether the next reading that tells has a sign of life to give."""
    days, time = config.sign_of_life, reading.snapshot.circumstance.time
    return bool(days and reading.drift and alerts.is_sign_due(history, days, time))


def _drop_old(history: History, config: Config) -> None:
    """What was read is recorded and told, whatever keeps the oldest ones from being dropped."""
    try:
        prune(history, config.keep_snapshots)
    except sqlite3.Error as error:
        print(f"bootwatch: no old snapshot was dropped: {error}", file=sys.stderr)


def recompare(places: Places) -> None:
    """Compare the newest snapshot once more, after its baseline was saved: nothing is read, and no more told
    than that something is over."""
    settings, baseline = in_force(places), load_baseline(places)
    config = settings.config
    with alone(places), History.open(places.history) as history:
        Programs(places.history / PROGRAMS).drop_others()
        newest = history.rows(1)
        if baseline is None or not newest:
            return
        snapshot = history.snapshot(newest[0].number)
        found = judged(snapshot, baseline, config, past_of(places, history, snapshot, baseline))
        ahead = found.routes()
        with history.transaction():
            history.import_log(_log_lines(places))
            drift = _keep(history, config, found, baseline)
            history.set_overview(newest[0].number, newest[0].overview | {"routes": ahead})
        machine = machine_name(config, snapshot)
        routes = _shown(ahead, machine, snapshot, predictions.summary(history)) | _kit_of(places, baseline)
        hidden = tuple(open_changes.hidden(history, drift)) if drift else ()
        told = found.next_expected, found.files_untouched, hidden
        reading = Reading(machine, snapshot, baseline, drift, routes, *told)
        _tell(history, places, config, reading, tell=True, only_clear=True)
        publish(places, reading, None, settings.log_in)


def _baseline_or_none(places: Places) -> tuple[Baseline | None, Problem | None]:
    try:
        return load_baseline(places), None
    except Problem as problem:
        return None, problem


def load_baseline(places: Places) -> Baseline | None:
    """The current baseline, None where there is none. Raises Problem when it can't be used."""
    if places.from_kit:
        from bootwatch.recover.kit import opened

        return opened(places.from_kit).baseline
    return baselines.load(places.baseline, places.history / _CACHE, leave=True)


def machine_name(config: Config, snapshot: Snapshot) -> str:
    return config.machine or snapshot.state.facts.get("host_name") or "this machine"


def _record(
    history: History, places: Places, config: Config, baseline: Baseline | None, snapshot: Snapshot
) -> Reading:
    past = past_of(places, history, snapshot, baseline)
    found = judged(snapshot, baseline, config, past)
    machine = machine_name(config, snapshot)
    view = found.overview() | {"machine": machine, "routes": found.routes()}
    with history.transaction():
        history.import_log(_log_lines(places))
        before = history.last_number()
        snapshot = snapshot.numbered(history.add(snapshot, view))
        history.import_log(confirm(places, history, snapshot))
        keep_prediction(history, snapshot, found.outlook.startup)
        churn.note(history, snapshot, before)
        found = found.numbered(snapshot)
        drift = _keep(history, config, found, baseline)
        hidden = tuple(open_changes.hidden(history, drift)) if drift else ()
    routes = _shown(view["routes"], machine, snapshot, predictions.summary(history))
    routes |= _kit_of(places, baseline)
    since = past_of(places, history, snapshot, baseline)
    steady = is_steady(history, snapshot.circumstance, baseline, drift, hidden, (past, since))
    told = found.next_expected, found.files_untouched, hidden
    return Reading(machine, snapshot, baseline, drift, routes, *told, is_steady=steady)


def _keep(history: History, config: Config, found: Judged, baseline: Baseline | None) -> Drift | None:
    """Place in time how a recorded snapshot differs, and record it; None without a baseline."""
    if found.drift is None or baseline is None:
        return None
    drift = place_in_time(history, found.drift, baseline.digest, found.scene, config.rules)
    number = found.scene.snapshot.number
    if number is not None:
        history.set_result(number, baseline.digest, drift)
        open_changes.keep_open(history, drift, number)
    return drift


def _log_lines(places: Places) -> list[str]:
    try:
        return (places.baseline / "log").read_text("utf-8", "replace").splitlines()
    except OSError:
        return []


def _found(reading: Reading) -> Found | None:
    """What messages are made of; None where nothing was compared."""
    baseline, drift, number = reading.baseline, reading.drift, reading.snapshot.number
    if baseline is None or drift is None or number is None:
        return None
    return Found(
        machine=reading.machine,
        snapshot=reading.snapshot,
        number=number,
        baseline=baseline,
        drift=drift,
        routes=reading.routes,
        next_expected=reading.next_expected,
        files_untouched=reading.files_untouched,
        spoken=spoken(drift, reading.routes),
    )


def _tell(
    history: History,
    places: Places,
    config: Config,
    reading: Reading,
    *,
    tell: bool,
    only_clear: bool = False,
) -> None:
    """Hand over what is to be told, and leave the open alert for who logs in."""
    found = _found(reading)
    if found is None:
        return
    settle(history, places, found)
    if tell:
        hand_over(history, places, config, found, only_clear=only_clear)
    try:
        publish_alert(history, places, config, found)
    except OSError as error:
        print(f"bootwatch: the alert in {places.run} was not renewed: {error.strerror}", file=sys.stderr)


def publish(places: Places, reading: Reading, baseline_trouble: Problem | None, log_in: str) -> None:
    """Leave what a reading found for everybody to read; ``log_in`` is one line more for who logs in."""
    code = spoken(reading.drift, reading.routes, compared=baseline_trouble is None)
    try:
        board.publish_document(places, "routes.json", reading.routes)
        board.publish_volumes(places, _volumes(reading))
        metrics.publish(places, _figures(reading))
        if reading.drift:
            seen = seen_when_saved(reading.baseline, reading.drift)
            board.publish(places, reading.drift, reading.facts, seen, spoken=code)
        elif baseline_trouble:
            board.publish_trouble(places, reading.machine, baseline_trouble.message, spoken=code)
        else:
            board.publish_without_baseline(places, reading.machine, spoken=code)
        if log_in:
            board.add_to_log_in(places, log_in)
    except OSError as error:
        print(f"bootwatch: the summary in {places.run} was not renewed: {error.strerror}", file=sys.stderr)


def _volumes(reading: Reading) -> set[str]:
    """Those that there are, and those that there should be."""
    wanted = reading.baseline.state.volumes if reading.baseline else ()
    return {*reading.snapshot.state.volumes, *wanted}


def _figures(reading: Reading) -> metrics.Figures:
    drift = reading.drift
    known = seen_when_saved(reading.baseline, drift) if drift else set()
    return metrics.Figures(
        looked=reading.snapshot.circumstance.time,
        starts=[(one["name"], one["starts"]) for one in reading.routes["systems"] if not one["removable"]],
        next_expected=reading.next_expected,
        open_levels=metrics.open_levels(drift, known, reading.hidden) if drift else None,
        unread=len(reading.snapshot.gaps),
    )


def may_record(places: Places) -> bool:
    """Whether the caller may write the history: the service's user, or the owner of a root of one's own."""
    return may_write(places.history)
