"""From a recorded comparison to the messages in the spool: what is due is handed over, and remembered."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

from bootwatch.config import Config
from bootwatch.keep import alerts, open_changes
from bootwatch.keep.alerts import Due
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.canonical import canonical
from bootwatch.keep.history import History
from bootwatch.keep.spool import Spool
from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.new_history import remember_told
from bootwatch.tell import board, journal
from bootwatch.tell.phrases import moment
from bootwatch.tell.plain import plain
from bootwatch.tell.state import MOST_STARTS, state_document

_HOW = 500


@dataclass(frozen=True)
class Found:
    """A recorded comparison, with all that a message says of it. ``routes`` is what starts and what starts
    next, as it is shown."""

    machine: str
    snapshot: Snapshot
    number: int
    baseline: Baseline
    drift: Drift
    routes: dict[str, Any]
    next_expected: bool | None
    files_untouched: bool | None
    spoken: str

    @property
    def time(self) -> str:
        return self.snapshot.circumstance.time


def settle(history: History, places: Places, found: Found) -> None:
    """Put right what a power cut, or a version that knew no alerts, left of them."""
    spool, late = Spool(places.spool), set[str]()

    def is_in_spool(own: str) -> bool:
        if spool.find(own) is None:
            return False
        late.add(own)
        return True

    known = seen_when_saved(found.baseline, found.drift)
    with history.transaction():
        remember_told(history, places, found.number)
        alerts.settle(history, is_in_spool)
        alerts.take_up(history, found.drift, known, snapshot=found.number, time=found.time)
    if late:  # rather twice in the journal than never
        for _, message in spool.messages(lambda path, why: None):
            if message.id in late:
                journal.announce(message, places)


def hand_over(
    history: History, places: Places, config: Config, found: Found, *, only_clear: bool = False
) -> None:
    """Spool what is due; what was settled before stays told. ``only_clear``: after a person called the
    machine good, only that something is over."""
    known = seen_when_saved(found.baseline, found.drift)
    how = _how(history, found, is_called_good=only_clear)
    for one in alerts.due(history, found.drift, known, found.time, only_clear=only_clear):
        _tell(history, places, config, found, one, how if one.kind is Kind.ALL_CLEAR else "")
    with history.transaction():
        alerts.drop_untold(history)
    if (
        config.sign_of_life
        and not only_clear
        and alerts.is_sign_due(history, config.sign_of_life, found.time)
    ):
        _give_sign(history, places, config, found)


def _tell(history: History, places: Places, config: Config, found: Found, one: Due, how: str) -> None:
    with history.transaction():
        alert, stage = alerts.begin(
            history, one, found.drift, snapshot=found.number, time=found.time, how=how
        )
    message = replace(
        _message(history, config, found, stage.message),
        news=stage.news,
        kind=one.kind,
        alert=alert.uid,
        called=alert.name,
        opened=alert.opened,
        stage=stage.number,
        is_over=one.level if one.kind is Kind.ALL_CLEAR else None,
        still_open=one.still_open,
        how=how,
    )
    _spool(places, message)
    journal.announce(message, places)
    with history.transaction():
        alerts.confirm(history, alert, stage)


def _give_sign(history: History, places: Places, config: Config, found: Found) -> None:
    boot = found.snapshot.circumstance.boot_id
    own = hashlib.sha256(canonical([found.machine, found.number, boot, "sign of life"]).encode())
    message = _message(history, config, found, own.hexdigest()[:32])
    known = seen_when_saved(found.baseline, found.drift)
    still = alerts.still_open(history, found.drift, known)
    _spool(places, replace(message, kind=Kind.SIGN_OF_LIFE, still_open=still))
    with history.transaction():
        alerts.note_sign(history, found.number, found.time, message.id)


def _message(history: History, config: Config, found: Found, own: str) -> Message:
    circumstance = found.snapshot.circumstance
    return Message(
        id=own,
        machine=found.machine,
        snapshot=found.number,
        moment=circumstance.moment.value,
        time=circumstance.time,
        baseline_saved=found.baseline.saved,
        baseline_reason=found.baseline.reason,
        drift=found.drift,
        news=(),
        routes=found.routes,
        state=_state(history, config, found),
        care=config.care,
        files_untouched=found.files_untouched,
        spoken=found.spoken,
    )


def _state(history: History, config: Config, found: Found) -> dict[str, Any]:
    known = seen_when_saved(found.baseline, found.drift)
    return state_document(
        machine=found.machine,
        machine_id=str(found.snapshot.state.facts.get("machine_id") or ""),
        time=found.time,
        snapshot=found.number,
        starts=alerts.starts(history, MOST_STARTS),
        levels=Counter(item.level for item in open_changes.to_tell(found.drift, known)),
        drift=found.drift,
        routes=found.routes,
        next_expected=found.next_expected,
        spoken=found.spoken,
        sign_of_life=config.sign_of_life,
    )


def _spool(places: Places, message: Message) -> None:
    try:
        Spool(places.spool).put(message)
    except OSError as error:
        raise Problem(
            f"The news could not be put into {places.spool}: {error.strerror}.",
            "The snapshot is recorded; the news is handed over with the next one.",
        ) from error


def _how(history: History, found: Found, *, is_called_good: bool) -> str:
    """By what something is over: the machine changed, or what it is compared with did."""
    now = found.baseline
    if not is_called_good and history.baseline_before(found.number) == now.digest:
        return "the machine is back at its baseline"
    reason = f' ("{plain(now.reason)}")' if now.reason else ""
    return plain(f"{now.by} called this state good, {moment(now.saved)}{reason}", _HOW)


def publish_alert(history: History, places: Places, config: Config, found: Found) -> None:
    """Leave the open alert for everybody who logs in, or that none is open. Raises OSError."""
    alert = alerts.current(history)
    message = _message(history, config, found, alert.uid if alert else "")
    if alert:
        known = seen_when_saved(found.baseline, found.drift)
        still = alerts.still_open(history, found.drift, known)
        message = replace(
            message, alert=alert.uid, called=alert.name, opened=alert.opened, stage=len(alert.stages),
            kind=Kind.REMINDER, still_open=still,
        )  # fmt: skip
    board.publish_alert(places, message, quiet_until=alert.quiet_until if alert else "")


def seen_when_saved(baseline: Baseline | None, drift: Drift) -> set[str]:
    """The ids of what was as wrong by itself when a person called the machine good all the same."""
    found = baseline.overview.get("findings", ()) if baseline else ()
    seen = {str(item.get("id")): item.get("level") for item in found if isinstance(item, dict)}
    return {one.id for one in drift.findings if one.id in seen and _is_no_worse(one, seen[one.id])}


def _is_no_worse(finding: Finding, level: Any) -> bool:
    return level in list(Level) and Level(level).at_least(finding.level)
