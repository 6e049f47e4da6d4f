"""Alerts, open and past, as a technician reads them."""

from __future__ import annotations

from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

Document = dict[str, Any]

_MOST = 12
_NAME = 60
_STATES = {"gone": "gone meanwhile", "hidden": "can't be seen now"}
_RECEIPTS = {
    "denied": "Who was told may not be read by you: run it with sudo.",
    "waiting": "Nobody was tried yet: the message waits to be sent.",
    "none": "Who was told is not known: no receipts are there.",
}


def alerts_report(document: Document, width: int = 80) -> str:
    """The open alert, then the past ones, newest first. Ends with a newline."""
    there = document["alerts"]
    is_open = [one for one in there if one["ended"] is None]
    over = [one for one in there if one["ended"] is not None]
    lines = [] if is_open else wrapped(f"{plain(document['machine'])}: no alert is open.", width)
    for alert in is_open:
        lines += [*wrapped(f"{plain(document['machine'])}: an alert is open.", width), ""]
        lines += _alert(alert, width)
    if over:
        lines += ["", "Past alerts"]
    for alert in over:
        lines += ["", *_alert(alert, width)]
    return "\n".join(lines + _foot(document, is_open, width)) + "\n"


def _alert(alert: Document, width: int) -> list[str]:
    lines = wrapped(_head(alert), width, f"{plain(alert['name'], 20)}  ")
    lines += [line for sentence in _sentences(alert) for line in wrapped(sentence, width, "  ")]
    shown = alert["what"][:_MOST]
    for one in shown:
        state = _STATES.get(one["state"])
        whose = f"{plain(one['system'], _NAME)}: " if one["system"] else ""
        said = whose + plain(one["headline"], 500) + (f" ({state})" if state else "")
        lines += wrapped(said, width, f"  {one['level']:<9} ")
    left = len(alert["what"]) - len(shown)
    lines += wrapped(f"and {left} more: --json lists them all", width, " " * 12) if left else []
    if alert["tellings"] is None:
        return lines + _published(alert, width)
    for telling in alert["tellings"]:
        lines += _telling(telling, width)
    if not alert["tellings"]:
        lines += wrapped("A version of before alerts told of it; to whom is not known.", width, "  ")
    return lines


def _head(alert: Document) -> str:
    if alert["ended"] is None:
        level = plain(str(alert["level"] or "nothing told is left"), _NAME)
        return f"{level}, open since {moment(alert['opened'])}"
    return f"from {moment(alert['opened'])} to {moment(alert['ended'])}"


def _sentences(alert: Document) -> list[str]:
    sentences = []
    if alert["how"]:
        sentences.append(f"It ended: {plain(alert['how'], 500)}.")
    if alert["quiet_until"] and alert["ended"] is None:
        sentences.append(f"No reminders before {moment(alert['quiet_until'])}.")
    return sentences


def _telling(telling: Document, width: int) -> list[str]:
    lines = wrapped(_why_told(telling), width, f"  {moment(telling['time'])}  ")
    missing = _RECEIPTS.get(telling["receipts"])
    lines += wrapped(missing, width, "    ") if missing else []
    return lines + _who(telling, width)


def _why_told(telling: Document) -> str:
    said = f"{telling['kind']}, {telling['level']} (snapshot {telling['snapshot']})"
    if telling["kind"] == "all-clear":
        still = telling["still_open"]
        said = f"all-clear, no longer {telling['level']}" + (f", still {still}" if still else "")
        said += f" (snapshot {telling['snapshot']})"
    return said


def _who(who: Document, width: int) -> list[str]:
    lines: list[str] = []
    for one in who["told"]:
        lines += _one("told", f"{_name(one)}, {moment(one['time'])}", width)
    for one in who.get("skipped", ()):
        lines += _one("skipped", f"{_name(one)}: {plain(one['why'], 500)}", width)
    for one in who["untold"]:
        tries = counted(int(one["attempts"]), "attempt")
        after = f"given up after {tries}" if one["for_good"] else f"tried again; {tries} so far"
        lines += _one("not told", f"{_name(one)}: {plain(one['why'], 500)} ({after})", width)
    return lines


def _one(what: str, said: str, width: int) -> list[str]:
    return wrapped(said, width, f"    {what:<9} ")


def _name(one: Document) -> str:
    return plain(str(one["address"]), _NAME)


def _published(alert: Document, width: int) -> list[str]:
    lines = wrapped("Who was told of it, and who not:", width, "  ")
    who = _who(alert, width)
    return lines + (who or wrapped("nobody so far, as far as anybody may know", width, "    "))


def _foot(document: Document, is_open: list[Document], width: int) -> list[str]:
    lines: list[str] = []
    if document["left_out"]:
        lines += wrapped(f"{counted(document['left_out'], 'older alert')}: --all", width)
    if not document["whole"]:
        lines += wrapped("Past alerts and each telling: sudo bootwatch alerts", width)
    for alert in is_open:
        lines += wrapped("What differs now, and what to do: bootwatch drift", width)
        if not alert["quiet_until"]:
            lines += [f"No reminders for two weeks: sudo bootwatch alerts quiet {alert['name']} --until 2w"]
    return ["", *lines] if lines else []
