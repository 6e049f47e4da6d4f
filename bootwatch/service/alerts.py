"""What is known of alerts, open and past: what each was about, and who was told of it when."""

from __future__ import annotations

import contextlib
import datetime
import os
from typing import Any

from bootwatch.keep import alerts
from bootwatch.keep.history import History
from bootwatch.keep.open_changes import Item
from bootwatch.keep.receipts import Receipt, Receipts, utc_now
from bootwatch.keep.spool import Spool, file_name
from bootwatch.model.alert import Alert, Stage
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.alone import alone
from bootwatch.service.left import left_for_all
from bootwatch.tell import board
from bootwatch.tell.phrases import headline
from bootwatch.tell.plain import plain

FORMAT = "bootwatch/alerts/1"
_ALERT_FILE = "alert.json"

Document = dict[str, Any]


def recorded(places: Places, past: int | None) -> Document:
    """All open alerts and the newest ``past`` ones that are over (None: all), newest first.

    Raises Problem when the history can't be read.
    """
    with History.look(places.history) as history:
        found = alerts.listed(history) if history else []
        over = [one for one in found if not one.is_open]
        shown = [one for one in found if one.is_open or past is None or one in over[:past]]
        newest = history.rows(1) if history else []
        there = _ids(newest[0].drift) if newest else frozenset()
        view = [_alert(history, places, one, there) for one in shown] if history else []
    machine = str(newest[0].overview.get("machine") or "this machine") if newest else "this machine"
    return _document(machine, view, len(found) - len(shown), is_whole=True)


def _document(machine: str, view: list[Document], left_out: int, *, is_whole: bool) -> Document:
    """``is_whole``: made of the history, and not of what anybody may read."""
    return {
        "format": FORMAT,
        "machine": machine,
        "whole": is_whole,
        "alerts": view,
        "left_out": left_out,
    }


def _ids(drift: Drift | None) -> frozenset[str]:
    if drift is None:
        return frozenset()
    return frozenset([*(one.id for one in drift.changes), *(one.id for one in drift.findings)])


def _alert(history: History, places: Places, alert: Alert, there: frozenset[str]) -> Document:
    """``there``: the ids of what the newest comparison found."""
    items = _items(history, alert)
    return {
        "name": alert.name,
        "uid": alert.uid,
        "level": alert.level and alert.level.value,
        "opened": alert.opened,
        "ended": alert.ended or None,
        "how": alert.how,
        "quiet_until": _to_come(alert.quiet_until),
        "what": [
            _item(one) | {"state": _state(history, alert, one, there)}
            for one in sorted(items, key=lambda one: one.level.rank)
        ],
        "tellings": [_telling(places, stage) for stage in alert.stages if stage.is_spooled],
    }


def _items(history: History, alert: Alert) -> list[Item]:
    """What people were told of, each as it was told last."""
    found = {item.id: item for stage in alert.stages for item in alerts.news_of(history, stage)}
    row = history.row(alert.snapshot)
    if found or row is None or row.drift is None:
        return list(found.values())
    return _loud(row.drift)


def _loud(drift: Drift) -> list[Item]:
    items: list[Item] = [*drift.changes, *drift.findings]
    return [item for item in items if item.level is not Level.ROUTINE]


def _item(item: Item) -> Document:
    return {
        "id": item.id,
        "level": item.level.value,
        "system": item.system,
        "headline": plain(headline(item), 500),
    }


def _state(history: History, alert: Alert, item: Item, there: frozenset[str]) -> str:
    """Of an open alert: whether it is still there."""
    if not alert.is_open:
        return "over"
    if item.id in there:
        return "there"
    return "hidden" if alerts.is_remembered(history, item.id) else "gone"


def _telling(places: Places, stage: Stage) -> Document:
    return {
        "number": stage.number,
        "kind": stage.kind.value,
        "time": stage.time,
        "snapshot": stage.snapshot,
        "level": stage.level.value,
        "still_open": stage.still_open and stage.still_open.value,
        "news": list(stage.news),
        **told_by(places, stage),
    }


def told_by(places: Places, stage: Stage) -> Document:
    """Who was told. ``receipts``: "read", "denied", "waiting" (nobody was tried yet) or "none"."""
    account = Receipts(places.receipts).read(file_name(stage.snapshot, stage.number, stage.message))
    receipts = sorted(account.receipts.values(), key=lambda one: one.name)
    said = "read"
    if places.receipts.is_dir() and not os.access(places.receipts, os.R_OK | os.X_OK):
        said = "denied"
    elif not receipts:
        said = "waiting" if Spool(places.spool).find(stage.message) else "none"
    told = [one for one in receipts if one.outcome == "delivered"]
    return {
        "receipts": said,
        "told": [{"address": one.name, "reader": one.reader, "time": one.last_try} for one in told],
        "skipped": [_why(one) for one in receipts if one.outcome == "skipped"],
        "untold": [
            _why(one) | {"attempts": one.attempts, "for_good": one.final, "next_try": one.next_try}
            for one in receipts
            if one not in told and one.outcome != "skipped"
        ],
    }


def _why(receipt: Receipt) -> Document:
    return {"address": receipt.name, "why": receipt.why}


def _to_come(until: str) -> str | None:
    """The end of a quiet time, None once it is past."""
    return until if until and datetime.datetime.fromisoformat(until) > utc_now() else None


# for whoever may not read the history


def published(places: Places) -> Document | None:
    """The same of what the reader and the sender left for everybody; None where the reader left nothing."""
    left = left_for_all(places, _ALERT_FILE)
    try:
        if left is None:
            return None
        message = left["message"]
        view = [_published_alert(places, left, message)] if message["alert"] else []
        return _document(str(message["machine"]), view, 0, is_whole=False)
    except (ValueError, KeyError, TypeError):
        return None


def _published_alert(places: Places, left: Document, message: Document) -> Document:
    sending = left_for_all(places, "send/state.json") or {}
    told = [one for one in sending.get("told", []) if one["alert"] == message["alert"]]
    untold = {
        one["address"]: {name: one[name] for name in ("address", "why", "attempts", "for_good")}
        for one in sending.get("untold", [])
    }
    items = _loud(Drift.from_json(message["drift"]))
    return {
        "name": message["called"],
        "uid": message["alert"],
        "level": message["still_open"],
        "opened": message["opened"],
        "ended": None,
        "how": "",
        "quiet_until": _to_come(left["quiet_until"]),
        "what": [_item(one) | {"state": "there"} for one in sorted(items, key=lambda one: one.level.rank)],
        "tellings": None,
        "told": [{name: one[name] for name in ("address", "reader", "time")} for one in told],
        "untold": [one | {"next_try": None} for one in untold.values()],
    }


# quiet


def make_quiet(places: Places, name: str, until: str) -> None:
    """No reminders of the open alert ``name`` before ``until`` (UTC, RFC 3339); "" takes that back.

    Raises UsageProblem when no open alert is called so, Problem when it can't be recorded.
    """
    with alone(places), History.open(places.history) as history:
        alert = alerts.current(history)
        if alert is None or alert.name != name:
            raise _unknown(history, alert, name)
        with history.transaction():
            alerts.set_quiet(history, alert.number, until)
        _publish_quiet(places, alert.uid, until)


def _unknown(history: History, current: Alert | None, name: str) -> UsageProblem:
    past = next((one for one in alerts.listed(history) if one.name == name), None)
    there = f"The open alert is {current.name}." if current else "No alert is open."
    if past:
        return UsageProblem(f"{name} is over, so there is nothing to be reminded of.", there)
    return UsageProblem(
        f"No alert is called {plain(name, 40)}.", f"{there} All of them: bootwatch alerts --all"
    )


def _publish_quiet(places: Places, uid: str, until: str) -> None:
    """For whoever is logged in. Where it can't be written, the next reading does."""
    left = left_for_all(places, _ALERT_FILE)
    with contextlib.suppress(OSError, KeyError, TypeError):
        if left and left["message"]["alert"] == uid:
            board.publish_document(places, _ALERT_FILE, left | {"quiet_until": until})
            board.say_quiet(places, until)
