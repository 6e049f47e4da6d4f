"""What any user of the machine may read: the last drift as JSON, one line, and a log-in line."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from bootwatch.keep.files import write_whole
from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import one_line
from bootwatch.tell.plain import plain
from bootwatch.tell.report import Facts

ALERT_FORMAT = "bootwatch/alert/1"
_ALERT = "alert.json"
_MODE = 0o644
_LINE = 78
_SAY = "On the phone, read out: "
_QUIET = "  No reminders before "


def publish(places: Places, drift: Drift, facts: Facts, known: Collection[str] = (), *, spoken: str) -> None:
    """Write ``drift.json``, ``summary`` and ``motd`` below ``<run>``; nothing where the root has no /run.

    ``motd`` is empty as long as nothing above routine is open, but for what was wrong by itself when the
    baseline was saved: ``known`` are those findings' ids. ``spoken`` is the code for the phone.
    Raises OSError when they can't be written.
    """
    if places.run is None:
        return
    _put_all(
        places.run,
        document(drift, facts) | {"spoken": spoken},
        f"{plain(facts.machine)}: {one_line(drift)}",
        log_in_lines(_without(drift, known), facts, spoken, _open_alert(places.run)),
    )
    until = _quiet_until(places.run)
    if until > facts.time:
        say_quiet(places, until)


def say_quiet(places: Places, until: str) -> None:
    """Say at log-in that there are no reminders before ``until`` (UTC, RFC 3339), where something is said at
    all; "": say it no longer. Raises OSError when that can't be written."""
    if places.run is None:
        return
    path = places.run / "motd"
    lines = [line for line in path.read_text().splitlines() if not line.startswith(_QUIET)]
    if lines and until:
        lines.append(f"{_QUIET}{phrases.moment(until)}")
    _put(path, "".join(f"{line}\n" for line in lines))


def _quiet_until(run: Path) -> str:
    """Until when the open alert is quiet, as it was published; "" where it isn't."""
    try:
        return str(json.loads((run / _ALERT).read_bytes())["quiet_until"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def _open_alert(run: Path) -> str:
    """A sentence on the open alert as it was published, "" where none is open. Its worst level may be that of
    something that can't be seen at the moment."""
    try:
        message = json.loads((run / _ALERT).read_bytes())["message"]
        name, level, opened = message["called"], message["still_open"], message["opened"]
    except (OSError, ValueError, KeyError, TypeError):
        return ""
    worst = f", the worst of it {plain(str(level))}" if level else ""
    return f"Alert {plain(str(name))}{worst}, open since {phrases.moment(opened)}." if name else ""


def _without(drift: Drift, known: Collection[str]) -> Drift:
    return replace(drift, findings=tuple(one for one in drift.findings if one.id not in known))


def publish_document(places: Places, name: str, document: dict[str, Any]) -> None:
    """Write a document of that name below ``<run>``; nothing where the root has no /run. Raises OSError."""
    if places.run is not None:
        places.run.mkdir(mode=0o755, exist_ok=True)
        _put_json(places.run / name, document)


def publish_volumes(places: Places, identities: Iterable[str]) -> None:
    """Write ``volumes``: which boot volumes there are, one identity a line, for who watches them.

    Nothing is written where the list is the same. Raises OSError.
    """
    if places.run is None:
        return
    path, text = places.run / "volumes", "".join(f"{plain(identity)}\n" for identity in sorted(identities))
    with suppress(OSError, ValueError):
        if path.read_text() == text:
            return
    places.run.mkdir(mode=0o755, exist_ok=True)
    _put(path, text)


def publish_alert(places: Places, message: Message, *, quiet_until: str) -> None:
    """Write ``alert.json``: the open alert, or that none is open, as a message whose ``alert`` is "" then.

    Raises OSError when it can't be written.
    """
    document = {"format": ALERT_FORMAT, "quiet_until": quiet_until, "message": message.to_json()}
    publish_document(places, _ALERT, document)


def _put_json(path: Path, document: dict[str, Any]) -> None:
    _put(path, json.dumps(document, indent=1) + "\n")


def publish_without_baseline(places: Places, machine: str, *, spoken: str) -> None:
    """The same while there is no baseline to compare with: ``baseline`` in ``drift.json`` is null then.

    Raises OSError when they can't be written.
    """
    if places.run is None:
        return
    document = Drift((), (), ()).to_json() | {
        "machine": machine,
        "snapshot": None,
        "time": None,
        "baseline": None,
        "spoken": spoken,
    }
    _put_all(places.run, document, f"{plain(machine)}: no baseline was saved yet", "")


def publish_trouble(places: Places, machine: str, sentence: str, *, spoken: str) -> None:
    """Say at log-in why nothing is compared; the last comparison stays. Raises OSError."""
    if places.run is None:
        return
    places.run.mkdir(mode=0o755, exist_ok=True)
    _put(places.run / "summary", f"{plain(machine)}: {plain(sentence)}\n")
    alert = _open_alert(places.run)
    lines = [f"bootwatch compares nothing: {plain(sentence)}", *_on_alert(alert), f"  {_SAY}{spoken}"]
    _put(places.run / "motd", "".join(f"{line}\n" for line in lines))


def add_to_log_in(places: Places, sentence: str) -> None:
    """Say one thing more at log-in. Raises OSError when that can't be written."""
    if places.run is not None:
        path = places.run / "motd"
        _put(path, path.read_text() + plain(sentence, _LINE * 3) + "\n")


def log_in_lines(drift: Drift, facts: Facts, spoken: str, alert: str = "") -> str:
    """Three to five lines for whoever logs in while something above routine is open, else nothing. ``alert``
    is a sentence on the open alert, "" for none."""
    items: list[Change | Finding] = [*drift.changes, *drift.findings]
    if not alert and all(item.level is Level.ROUTINE for item in items):
        return ""
    lines = wrapped(f"bootwatch: {one_line(drift)}", _LINE, "", "  ")
    lines += _on_alert(alert)
    lines += wrapped(
        f"Seen {phrases.moment(facts.time)}. Before you switch off, see: bootwatch drift", _LINE, "  "
    )
    lines.append(f"  {_SAY}{spoken}")
    return "".join(f"{line}\n" for line in lines)


def _on_alert(alert: str) -> list[str]:
    return wrapped(alert, _LINE, "  ") if alert else []


def document(drift: Drift, facts: Facts) -> dict[str, Any]:
    """The drift with what it was compared with: what is published, and what --json prints."""
    return drift.to_json() | {
        "machine": facts.machine,
        "snapshot": facts.snapshot,
        "time": facts.time,
        "baseline": {"saved": facts.baseline_saved, "reason": facts.baseline_reason},
    }


def _put_all(run: Path, document: dict[str, Any], summary: str, log_in: str) -> None:
    run.mkdir(mode=0o755, exist_ok=True)
    _put_json(run / "drift.json", document)
    _put(run / "summary", f"{summary}\n")
    _put(run / "motd", log_in)


def _put(path: Path, text: str) -> None:
    # ASCII in JSON, and escapes in text: nothing here can fail to encode.
    write_whole(path, text.encode(), _MODE)
