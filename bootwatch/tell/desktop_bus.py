"""The session's notification daemon, as the Desktop Notifications Specification 1.2 has it.

Over the session bus; the library for that is jeepney. Every call has an end, so that a daemon that hangs
holds nothing up for good.
"""

from __future__ import annotations

import contextlib
import os
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from jeepney import DBusAddress, HeaderFields, MatchRule, MessageType, message_bus, new_method_call
from jeepney.io.blocking import DBusConnection, open_dbus_connection

from bootwatch.problem import MachineProblem
from bootwatch.tell.desktop import Note, Urgency

NAME = "org.freedesktop.Notifications"
_PATH = "/org/freedesktop/Notifications"
_DAEMON = DBusAddress(_PATH, bus_name=NAME, interface=NAME)
# A daemon that has to be started first may take the bus 25 seconds.
_PATIENCE = 30.0
_KEPT_SIGNALS = 1000
_DEFAULT, _OPEN = "default", "open"
_DAEMON_DECIDES, _STAYS = -1, 0


@dataclass(frozen=True)
class Shown:
    """A notification on the screen. ``owner`` is the daemon that numbered it: for another it is void."""

    number: int
    owner: str
    note: Note


@dataclass(frozen=True)
class Arrived:
    """Another daemon has the name from now on; ``owner`` is "" when none has."""

    owner: str


@dataclass(frozen=True)
class Closed:
    """A notification is gone from the screen."""

    number: int


@dataclass(frozen=True)
class Invoked:
    """Somebody wants to read the text."""

    number: int


Event = Arrived | Closed | Invoked


class BusGone(Exception):
    """The session is over."""


class Daemon:
    """Whoever shows notifications, if there is one."""

    def __init__(self, connection: DBusConnection) -> None:
        self._connection = connection
        self._signals: deque[Any] = deque(maxlen=_KEPT_SIGNALS)

    @classmethod
    @contextlib.contextmanager
    def on_session_bus(cls) -> Iterator[Daemon]:
        """Raises MachineProblem where there is no session bus."""
        try:
            connection = open_dbus_connection(_address())
        except (OSError, KeyError, ValueError, RuntimeError, StopIteration) as error:
            raise MachineProblem(
                "There is no session to show anything in: its bus can't be reached.",
                "It is run in a graphical session, by systemd's user unit bootwatch-desktop.service.",
            ) from error
        with connection:
            daemon = cls(connection)
            with connection.filter(MatchRule(type="signal"), queue=daemon._signals):
                daemon._subscribe()
                yield daemon

    def fileno(self) -> int:
        """What becomes readable when something happened."""
        return int(self._connection.sock.fileno())

    def _subscribe(self) -> None:
        owner = MatchRule(type="signal", sender="org.freedesktop.DBus", member="NameOwnerChanged")
        owner.add_arg_condition(0, NAME)
        for rule in (owner, MatchRule(type="signal", sender=NAME, interface=NAME)):
            self._call(message_bus.AddMatch(rule))

    def has_events(self) -> bool:
        """Whether something happened already, so that there is nothing to wait for. Raises BusGone."""
        with contextlib.suppress(TimeoutError), _bus_may_go():
            while True:
                self._connection.recv_messages(timeout=0)
        return bool(self._signals)

    def events(self) -> Iterator[Event]:
        """What happened since. Raises BusGone."""
        while self.has_events():
            event = _event(self._signals.popleft())
            if event:
                yield event

    def show(self, note: Note, former: Shown | None = None) -> Shown | None:
        """Put ``note`` on the screen, in the place of ``former``; None where no daemon took it."""
        abilities = self._query_abilities()
        if abilities is None:
            return None
        owner, able = abilities
        replaced = former.number if former and former.owner == owner else 0
        body = _escaped(note.body) if "body-markup" in able else note.body
        actions = _actions(note) if "actions" in able else []
        stays = _STAYS if note.urgency is Urgency.CRITICAL else _DAEMON_DECIDES
        hints = {"urgency": ("y", int(note.urgency))}
        arguments = ("bootwatch", replaced, note.icon, note.title, body, actions, hints, stays)
        reply = self._call(new_method_call(_DAEMON, "Notify", "susssasa{sv}i", arguments))
        if reply is None or not isinstance(reply.body[0], int):
            return None
        return Shown(reply.body[0], _sender(reply), note)

    def take_away(self, shown: Shown) -> None:
        """Take a notification off the screen, if it is still there."""
        self._call(new_method_call(_DAEMON, "CloseNotification", "u", (shown.number,)))

    def _query_abilities(self) -> tuple[str, frozenset[str]] | None:
        """The daemon that has the name now, and what it is able to show; None where none answers."""
        reply = self._call(new_method_call(_DAEMON, "GetCapabilities"))
        if reply is None or not isinstance(reply.body[0], list):
            return None
        return _sender(reply), frozenset(reply.body[0])

    def _call(self, message: Any) -> Any:
        """The reply; None for an error or where none comes in time. Raises BusGone."""
        with _bus_may_go():
            try:
                reply = self._connection.send_and_get_reply(message, timeout=_PATIENCE)
            except TimeoutError:
                return None
        return reply if reply.header.message_type is MessageType.method_return else None


@contextlib.contextmanager
def _bus_may_go() -> Iterator[None]:
    try:
        yield
    except TimeoutError:
        raise
    except OSError as error:
        raise BusGone from error


def _address() -> str:
    """The bus of the environment, or the one that systemd has for each user."""
    return os.environ.get("DBUS_SESSION_BUS_ADDRESS") or f"unix:path={os.environ['XDG_RUNTIME_DIR']}/bus"


def _sender(message: Any) -> str:
    return str(message.header.fields.get(HeaderFields.sender, ""))


def _event(signal: Any) -> Event | None:
    """None for what is no concern of ours, or is malformed."""
    member, body = signal.header.fields.get(HeaderFields.member), signal.body
    match (member, *body):
        case ("NameOwnerChanged", str(), str(), str(owner)) if body[0] == NAME:
            return Arrived(owner)
        case ("NotificationClosed", int(number), int()):
            return Closed(number)
        case ("ActionInvoked", int(number), str()):
            return Invoked(number)
    return None


def _actions(note: Note) -> list[str]:
    """What a click anywhere does, and a button that does the same."""
    return [_DEFAULT, note.button, _OPEN, note.button] if note.button else []


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
