"""A graphical session without a person: a virtual screen, a bus, a real notification daemon, and our program.

Everything waits for what happens, and nothing for time to pass.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jeepney import HeaderFields
from jeepney.bus_messages import Monitoring
from jeepney.io.blocking import DBusConnection, open_dbus_connection

from bootwatch.keep.files import write_whole
from bootwatch.model.message import Message
from bootwatch.tell.board import ALERT_FORMAT

NAME = "org.freedesktop.Notifications"
DEADLINE = 30.0
_PROGRAM = [sys.executable, "-m", "bootwatch.cli"]
_CHECKOUT = Path(__file__).parents[2]
# The daemon runs "show" for whatever it puts on the screen; the program runs "xdg-open".
_SCRIPTS = {
    "show": 'printf "shown\\037%s\\037%s\\037%s\\037%s\\036" '
    '"$DUNST_ID" "$DUNST_URGENCY" "$DUNST_SUMMARY" "$DUNST_BODY"',
    "xdg-open": 'printf "opened\\037%s\\036" "$1"',
}
# A session's bus, but that root may listen to any user's, and that it starts nothing by itself.
_BUS = """<busconfig>
    <type>session</type>
    <listen>{address}</listen>
    <policy context="default">
        <allow user="*"/>
        <allow send_destination="*" eavesdrop="true"/>
        <allow eavesdrop="true"/>
        <allow own="*"/>
    </policy>
</busconfig>
"""
_DAEMON = """[global]
    font = Sans 12
    width = 520
    height = 600
    offset = 20x20
    markup = full
    format = "<b>%s</b>\\n%b"
    frame_width = 2
    separator_height = 2
    padding = 10
    horizontal_padding = 12
    corner_radius = 6
    dmenu = /bin/false
    idle_threshold = 0
    history_length = 50
[urgency_low]
    background = "#f3f3f3"
    foreground = "#222222"
    frame_color = "#999999"
    timeout = 0
[urgency_normal]
    background = "#fff6dd"
    foreground = "#222222"
    frame_color = "#c79a00"
    timeout = 0
[urgency_critical]
    background = "#ffe3e0"
    foreground = "#222222"
    frame_color = "#b3261e"
    timeout = 0
[record]
    summary = "*"
    script = {script}
"""


@dataclass(frozen=True)
class Seen:
    """What the daemon put on the screen."""

    number: int
    urgency: str
    title: str
    body: str


@contextlib.contextmanager
def screen(size: str = "1280x800x24") -> Iterator[str]:
    """A virtual screen; what DISPLAY is to be."""
    reader, writer = os.pipe()
    command = ["Xvfb", "-displayfd", str(writer), "-screen", "0", size, "-nolisten", "tcp", "-ac"]
    with _running(command, dict(os.environ), pass_fds=(writer,)):
        os.close(writer)
        with os.fdopen(reader) as answer:
            yield f":{answer.readline().strip()}"


@contextlib.contextmanager
def _running(
    command: Sequence[str], environment: dict[str, str], **options: Any
) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(
        command, env=environment, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **options
    )
    try:
        yield process
    finally:
        process.terminate()
        process.wait(DEADLINE)


class Session:
    """One user's bus, and what runs there. ``run`` stands for /run/bootwatch."""

    def __init__(self, folder: Path, display: str, user: int | None = None) -> None:
        self.folder, self.run = folder, folder.parent / "machine/run/bootwatch"
        self._user = user
        self._stack = contextlib.ExitStack()
        self._daemon: subprocess.Popen[bytes] | None = None
        self._said: bytes = b""
        for name in ("bin", "home", "run"):
            (folder / name).mkdir(parents=True)
        (self.run / "send").mkdir(parents=True, exist_ok=True)
        self.environment = {
            "PATH": f"{folder}/bin:/usr/bin:/bin",
            "HOME": str(folder / "home"),
            "XDG_RUNTIME_DIR": str(folder / "run"),
            "DBUS_SESSION_BUS_ADDRESS": f"unix:path={folder}/run/bus",
            "DISPLAY": display,
            "LC_ALL": "C.UTF-8",
            "TZ": "UTC",
            "PYTHONPATH": str(_CHECKOUT),
        }

    @classmethod
    @contextlib.contextmanager
    def started(cls, folder: Path, display: str, user: int | None = None) -> Iterator[Session]:
        session = cls(folder, display, user)
        with session._stack:
            session._start()
            yield session

    def _start(self) -> None:
        pipe = self.folder / "happened"
        os.mkfifo(pipe)
        for name, line in _SCRIPTS.items():
            script = self.folder / "bin" / name
            script.write_text(f"#!/bin/sh\n{line} >{pipe}\n")
            script.chmod(0o755)
        (self.folder / "dunstrc").write_text(_DAEMON.format(script=self.folder / "bin/show"))
        if self._user is not None:
            for path in (self.folder, *self.folder.rglob("*")):
                os.chown(path, self._user, self._user)
        self._pipe = os.open(pipe, os.O_RDWR | os.O_NONBLOCK)
        self._stack.callback(os.close, self._pipe)
        self._start_bus()
        self._bus = self._stack.enter_context(self._monitor())

    def _as_user(self, command: Sequence[str]) -> list[str]:
        if self._user is None:
            return list(command)
        return ["setpriv", f"--reuid={self._user}", f"--regid={self._user}", "--clear-groups", *command]

    def _start_bus(self) -> None:
        reader, writer = os.pipe()
        settings = self.folder / "bus.conf"
        settings.write_text(_BUS.format(address=self.environment["DBUS_SESSION_BUS_ADDRESS"]))
        command = ["dbus-daemon", "--nofork", f"--config-file={settings}", f"--print-address={writer}"]
        self.bus = self._stack.enter_context(
            _running(self._as_user(command), self.environment, pass_fds=(writer,))
        )
        os.close(writer)
        with os.fdopen(reader) as answer:
            assert answer.readline().startswith("unix:")

    def _monitor(self) -> DBusConnection:
        """A connection that hears all that is said on the bus, also what is said to somebody else alone."""
        bus = open_dbus_connection(self.environment["DBUS_SESSION_BUS_ADDRESS"])
        bus.send_and_get_reply(Monitoring().BecomeMonitor([]), timeout=DEADLINE)
        return bus

    # the notification daemon

    def start_daemon(self) -> None:
        """Back when it has its name on the bus."""
        command = ["dunst", "-config", str(self.folder / "dunstrc")]
        self._daemon = self._stack.enter_context(_running(self._as_user(command), self.environment))
        self.await_said("NameOwnerChanged", lambda body: bool(body[2]))

    def stop_daemon(self) -> None:
        """Back when nobody has its name."""
        assert self._daemon
        self._daemon.terminate()
        self._daemon.wait(DEADLINE)
        self.await_said("NameOwnerChanged", lambda body: not body[2])

    def await_said(self, member: str, is_it: Callable[[Any], bool] = lambda body: True) -> None:
        """Until such a signal or call was on the bus."""
        end = time.monotonic() + DEADLINE
        while True:
            said = self._bus.receive(timeout=max(end - time.monotonic(), 0))
            if said.header.fields.get(HeaderFields.member) == member and is_it(said.body):
                return

    def control(self, *arguments: str) -> str:
        """Ask the daemon, by its own tool."""
        command = self._as_user(["dunstctl", *arguments])
        return subprocess.run(
            command, env=self.environment, text=True, stdout=subprocess.PIPE, check=True, timeout=DEADLINE
        ).stdout.strip()

    def displayed(self) -> int:
        return int(self.control("count", "displayed"))

    def close_first(self, number: int) -> None:
        """Put the foremost notification away, as the user does by a click; it has to be this one."""
        self.control("close")
        self.await_closed(number)

    def await_closed(self, number: int) -> None:
        self.await_said("NotificationClosed", lambda body: body[0] == number)

    def end(self) -> None:
        """The session is over: its bus goes away."""
        self.bus.terminate()
        self.bus.wait(DEADLINE)

    # what the scripts tell

    def await_shown(self) -> Seen:
        """What the daemon put on the screen next."""
        what, *fields = self._next()
        assert what == "shown", fields
        return Seen(int(fields[0]), *fields[1:])

    def await_opened(self) -> Path:
        """What was opened next."""
        what, path = self._next()
        assert what == "opened", path
        return Path(path)

    def _next(self) -> list[str]:
        end = time.monotonic() + DEADLINE
        with selectors.DefaultSelector() as selector:
            selector.register(self._pipe, selectors.EVENT_READ)
            while b"\x1e" not in self._said:
                assert selector.select(end - time.monotonic()), "nothing happened"
                self._said += os.read(self._pipe, 65536)
        one, self._said = self._said.split(b"\x1e", 1)
        return one.decode().split("\x1f")

    # the program

    @contextlib.contextmanager
    def log_in(self) -> Iterator[subprocess.Popen[bytes]]:
        """The program, from here to its end by SIGTERM (or its own), which has to be a good one."""
        root = self.run.parents[1]
        command = self._as_user([*_PROGRAM, "--root", str(root), "desktop"])
        process = subprocess.Popen(command, env=self.environment, stdin=subprocess.DEVNULL, cwd="/")
        try:
            yield process
        finally:
            process.terminate()
            status = process.wait(DEADLINE)
        assert status == 0


def publish(run: Path, message: Message, quiet_until: str = "") -> None:
    """As the reader does."""
    document = {"format": ALERT_FORMAT, "quiet_until": quiet_until, "message": message.to_json()}
    write_whole(run / "alert.json", json.dumps(document).encode(), 0o644)


def publish_sent(run: Path, **document: Any) -> None:
    """As the sender does."""
    usual: dict[str, Any] = {"format": "bootwatch/send/1", "mistakes": [], "untold": [], "told": []}
    write_whole(run / "send/state.json", json.dumps(usual | document).encode(), 0o644)
