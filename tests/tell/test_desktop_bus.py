"""What is said to notification daemons of different abilities; a stand-in answers in their place."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest
from jeepney import HeaderFields, MessageType
from jeepney.io.blocking import DBusConnection

from bootwatch.tell.desktop import Note, Urgency
from bootwatch.tell.desktop_bus import BusGone, Daemon, Shown

NOTE = Note("Anna & Ben", "<b>Call</b> Anna & Ben", Urgency.CRITICAL, "Read more")


class Bus:
    """Answers like a daemon that is able to do ``able``; ``notified`` is what it was told last."""

    def __init__(self, *able: str, error: type[Exception] | None = None) -> None:
        self.able, self.error = list(able), error
        self.notified: tuple[Any, ...] = ()

    def send_and_get_reply(self, message: Any, timeout: float) -> Any:
        if self.error:
            raise self.error
        if message.header.fields[HeaderFields.member] == "Notify":
            self.notified = message.body
            body: tuple[Any, ...] = (7,)
        else:
            body = (self.able,)
        header = SimpleNamespace(message_type=MessageType.method_return, fields={HeaderFields.sender: ":1.5"})
        return SimpleNamespace(header=header, body=body)


def daemon(bus: Bus) -> Daemon:
    return Daemon(cast(DBusConnection, bus))


def test_all_that_a_daemon_is_able_to_do() -> None:
    bus = Bus("actions", "body", "body-markup")
    assert daemon(bus).show(NOTE) == Shown(7, ":1.5", NOTE)
    # Desktop Notifications Specification 1.2, Notify: the body alone may have markup; 0 never expires.
    assert bus.notified == (
        *("bootwatch", 0, "dialog-error", "Anna & Ben", "&lt;b&gt;Call&lt;/b&gt; Anna &amp; Ben"),
        *(["default", "Read more", "open", "Read more"], {"urgency": ("y", 2)}, 0),
    )


def test_neither_markup_nor_actions_where_they_are_not_known() -> None:
    bus = Bus("body")
    daemon(bus).show(Note("title", "<b> & more", Urgency.LOW, "Read more"))
    assert bus.notified[4:] == ("<b> & more", [], {"urgency": ("y", 0)}, -1)


def test_only_a_daemons_own_numbers_are_replaced() -> None:
    bus = Bus()
    daemon(bus).show(NOTE, Shown(3, ":1.5", NOTE))
    assert bus.notified[1] == 3
    daemon(bus).show(NOTE, Shown(3, ":1.4", NOTE))
    assert bus.notified[1] == 0


def test_a_daemon_that_hangs_shows_nothing_and_a_bus_that_is_gone_ends_it() -> None:
    assert daemon(Bus(error=TimeoutError)).show(NOTE) is None
    with pytest.raises(BusGone):
        daemon(Bus(error=ConnectionResetError)).show(NOTE)
