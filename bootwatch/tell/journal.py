"""Records in the system's journal, each sort with its own MESSAGE_ID (texts in units/bootwatch.catalog)."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable

from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.tell import phrases
from bootwatch.tell.plain import plain

ALERT_ID = "20d0a9feb0a34f17b990b67245284a70"
ADDRESSES_ID = "8d1683f581f64302a25324e44ce62922"
UNTOLD_ID = "e9186988fbf54092be0dd0ede00561b6"

_SOCKET = "/run/systemd/journal/socket"

# syslog's severities: critical, error, warning, notice, info.
_PRIORITY = {
    Level.STRANDED: 2,
    Level.DIVERTED: 3,
    Level.WEAKENED: 4,
    Level.CHANGED: 5,
    Level.ROUTINE: 6,
}

Fields = list[tuple[str, str]]


def announce(message: Message, places: Places) -> None:
    """Put what is new in ``message`` into the journal. Only the running machine has one."""
    if places.is_this_machine:
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


def alert_text(message: Message) -> str:
    """The record's line for people."""
    machine = plain(message.machine)
    news: list[Change | Finding] = [*message.new_changes, *message.new_findings]
    news.sort(key=lambda item: item.level.rank)
    sentences = " ".join(phrases.headline(item) for item in news)
    return plain(f"{machine}: {phrases.one_line(message.drift)}. {sentences}".rstrip(), 2000)


def alert_fields(message: Message) -> Fields:
    """The record's structured fields; BOOTWATCH_CHANGE comes once for each new change, and
    BOOTWATCH_FINDING for each new finding."""
    level = message.worst_news or Level.ROUTINE
    changes = [("BOOTWATCH_CHANGE", plain(change.id)) for change in message.new_changes]
    findings = [("BOOTWATCH_FINDING", plain(finding.id)) for finding in message.new_findings]
    return [
        ("MESSAGE_ID", ALERT_ID),
        ("PRIORITY", str(_PRIORITY[level])),
        ("BOOTWATCH_LEVEL", level.value),
        ("BOOTWATCH_MACHINE", plain(message.machine)),
        ("BOOTWATCH_SNAPSHOT", str(message.snapshot)),
        *changes,
        *findings,
    ]


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
