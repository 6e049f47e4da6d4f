"""Records in the system's journal, each sort with its own MESSAGE_ID (texts in units/bootwatch.catalog)."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.tell import phrases
from bootwatch.tell.plain import plain

ALERT_ID = "20d0a9feb0a34f17b990b67245284a70"
REMINDER_ID = "977bc1e2a6ce49d5b64e8c721f8f8793"
ALL_CLEAR_ID = "db81212178544351a6784a312531d167"
ADDRESSES_ID = "8d1683f581f64302a25324e44ce62922"
UNTOLD_ID = "e9186988fbf54092be0dd0ede00561b6"
RESTORE_ID = "cf35bd4c0f9d4de4851f66234ce67821"

_SOCKET = "/run/systemd/journal/socket"

# syslog's severities: critical, error, warning, notice, info.
_PRIORITY = {
    Level.STRANDED: 2,
    Level.DIVERTED: 3,
    Level.WEAKENED: 4,
    Level.CHANGED: 5,
    Level.ROUTINE: 6,
}

# Good news is nothing that a look at errors and warnings should show.
_GOOD = 5
# A sign of life has no record: that the reading ended well is one already, of the system manager's.
_IDS = {Kind.NEWS: ALERT_ID, Kind.REMINDER: REMINDER_ID, Kind.ALL_CLEAR: ALL_CLEAR_ID}

Fields = list[tuple[str, str]]
Item = Change | Finding


def announce(message: Message, places: Places) -> None:
    """Put what ``message`` tells into the journal. Only the running machine has one."""
    if places.is_this_machine and message.kind in _IDS:
        _write(alert_text(message), alert_fields(message))


def announce_mistake(sentences: Iterable[str], places: Places) -> None:
    """Put mistakes in the addresses into the journal: until they are mended nobody is told anything."""
    if not places.is_this_machine:
        return
    text = "bootwatch can't tell anybody of changes: " + "; ".join(sentences)
    _write(plain(text, 2000), [("MESSAGE_ID", ADDRESSES_ID), ("PRIORITY", "3")])


def announce_untold(address: str, why: str, places: Places) -> None:
    """Put into the journal that one address refused a message for good."""
    if places.is_this_machine:
        text = f"bootwatch could not tell {plain(address)} of changes, and has given up: {plain(why)}"
        _write(text, [("MESSAGE_ID", UNTOLD_ID), ("PRIORITY", "3"), ("BOOTWATCH_ADDRESS", plain(address))])


def announce_restore(number: int, said: str, places: Places, *, is_stopped: bool) -> None:
    """Put into the journal what a restore wrote, took back, or was stopped at. Only the running machine has
    one."""
    if places.is_this_machine and os.path.exists(_SOCKET):
        fields = restore_fields(number, is_stopped=is_stopped)
        _write(plain(f"bootwatch restore {number} {said}", 2000), fields)


def restore_fields(number: int, *, is_stopped: bool) -> Fields:
    """A restore's record: an error where it was stopped."""
    severity = "3" if is_stopped else "5"
    return [("MESSAGE_ID", RESTORE_ID), ("PRIORITY", severity), ("BOOTWATCH_RESTORE", str(number))]


def alert_text(message: Message) -> str:
    """The record's line for people."""
    over = message.is_over or Level.ROUTINE
    match message.kind:
        case Kind.REMINDER:
            told = f"still open since {phrases.moment(message.opened)}: {_as_it_is(message, _left(message))}"
        case Kind.ALL_CLEAR if message.still_open is None:
            told = f'all clear, alert {plain(message.called)} ("{over}") is over: {plain(message.how, 500)}.'
        case Kind.ALL_CLEAR:
            told = f'what was "{over}" is over, the worst that is left is "{message.still_open}": '
            told += _as_it_is(message, _left(message))
        case _:
            told = _as_it_is(message, [*message.new_changes, *message.new_findings])
    return plain(f"{plain(message.machine)}: {told}", 2000)


def _as_it_is(message: Message, items: Iterable[Item]) -> str:
    news = sorted(items, key=lambda item: item.level.rank)
    sentences = " ".join(phrases.headline(item) for item in news)
    return f"{phrases.one_line(message.drift)}. {sentences}".rstrip()


def _left(message: Message) -> list[Item]:
    """The worst that holds now, as far as it can be seen at the moment."""
    items: Iterable[Item] = (*message.drift.changes, *message.drift.findings)
    return [item for item in items if item.level is message.still_open]


def alert_fields(message: Message) -> Fields:
    """The record's structured fields; BOOTWATCH_CHANGE comes once for each new change, and
    BOOTWATCH_FINDING for each new finding. What isn't known has no field."""
    priority = _GOOD if message.kind is Kind.ALL_CLEAR else _PRIORITY[message.level]
    fields = [
        ("MESSAGE_ID", _IDS[message.kind]),
        ("PRIORITY", str(priority)),
        ("BOOTWATCH_KIND", message.kind.value),
        ("BOOTWATCH_LEVEL", message.level.value),
        ("BOOTWATCH_STILL_OPEN", message.still_open.value if message.still_open else "nothing"),
        ("BOOTWATCH_MACHINE", plain(message.machine)),
        ("BOOTWATCH_SNAPSHOT", str(message.snapshot)),
        ("BOOTWATCH_ALERT", plain(message.called)),
        ("BOOTWATCH_ALERT_UID", plain(message.alert)),
        ("BOOTWATCH_STAGE", str(message.stage)),
        ("BOOTWATCH_NEXT_SYSTEM", plain(_next_system(message))),
        ("BOOTWATCH_SPOKEN", plain(message.spoken)),
        *(("BOOTWATCH_CHANGE", plain(change.id)) for change in message.new_changes),
        *(("BOOTWATCH_FINDING", plain(finding.id)) for finding in message.new_findings),
    ]
    return [(name, value) for name, value in fields if value]


def _next_system(message: Message) -> str:
    """What surely starts at the next switch-on; "" where that isn't known, or is no system."""
    following = message.state.get("next_start", {})
    return str(following.get("system") or "") if following.get("certain") else ""


def _write(text: str, fields: Fields) -> None:
    """Into the journal; where there is none, the line for people goes to standard error."""
    # The library says nothing where the journal isn't running.
    if os.path.exists(_SOCKET):
        try:
            from systemd import journal

            journal.sendv(
                f"MESSAGE={text}",
                "SYSLOG_IDENTIFIER=bootwatch",
                *(f"{name}={value}" for name, value in fields),
            )
            return
        except (ImportError, OSError):
            pass
    print(text, file=sys.stderr)
