"""A running QEMU: console, agent's port and QMP as events; fails on silence, never on total time."""

import select
import signal
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from tests.firmware import slot
from tests.firmware.channel import Channel, Event

T = TypeVar("T")
SILENCE = 90.0


class MachineFailed(AssertionError):
    """The machine did not do what the test waits for; with the console's last lines and where it lies."""


class Process:
    """One QEMU with these arguments. Console and QEMU's own words are kept in `folder`."""

    def __init__(self, arguments: Sequence[str | Path], folder: Path) -> None:
        self._slot = slot.take()
        self.log = folder / "console.log"
        self._console_file = self.log.open("ab")
        self._words = (folder / "qemu.log").open("ab")
        self.console = Channel.from_machine(b"@", self._console_file)
        self.agent = Channel.both_ways()
        self.monitor = Channel.both_ways()
        self._poll = select.poll()
        for channel in self._channels:
            self._poll.register(channel, select.POLLIN)
        self._child = self._spawn(arguments)

    @property
    def _channels(self) -> list[Channel]:
        return [self.console, self.agent, self.monitor]

    @property
    def has_ended(self) -> bool:
        return all(channel.ended for channel in self._channels)

    def _spawn(self, arguments: Sequence[str | Path]) -> subprocess.Popen[bytes]:
        console, agent, monitor = (str(channel.theirs) for channel in self._channels)
        wiring = [
            *("-chardev", f"file,id=console,path=/dev/fd/{console}", "-serial", "chardev:console"),
            *("-chardev", f"socket,id=agent,fd={agent}"),
            *("-chardev", f"socket,id=monitor,fd={monitor}", "-mon", "chardev=monitor,mode=control"),
        ]
        # Dies with the test: nobody is left to stop it when pytest is killed.
        command = ["setpriv", "--pdeathsig=KILL", *arguments, *wiring]
        kept = [*(channel.theirs for channel in self._channels), self._slot.fileno()]
        child = subprocess.Popen(
            command, pass_fds=kept, stdin=subprocess.DEVNULL, stdout=self._words, stderr=self._words
        )
        for channel in self._channels:
            channel.hand_over()
        return child

    def wait_for(self, look: Callable[[], T | None], what: str, silence: float = SILENCE) -> T:
        """Calls `look` after each sign of life until it finds something. Raises MachineFailed when the
        machine has been silent for so many seconds, or has ended."""
        while (found := look()) is None:
            if self.has_ended:
                raise self.failure(f"the machine ended while the test waited for {what}")
            if not self._listen(silence):
                raise self.failure(f"silent for {silence:.0f} s while the test waited for {what}")
        return found

    def _listen(self, silence: float) -> bool:
        """Whether anything came within so many seconds."""
        deadline = time.monotonic() + silence
        while ready := self._poll.poll(max(0.0, deadline - time.monotonic()) * 1000):
            alive = [self._receive(fd) for fd, _ in ready]
            if any(alive) or self.has_ended:
                return True
        return False

    def _receive(self, fd: int) -> bool:
        channel = next(channel for channel in self._channels if channel.fileno() == fd)
        alive = channel.receive()
        if not alive:
            self._poll.unregister(channel)
        return alive

    def next_event(self, channel: Channel, silence: float = SILENCE) -> Event:
        """The channel's next event."""

        def look() -> Event | None:
            return channel.events.popleft() if channel.events else None

        return self.wait_for(look, "an answer", silence)

    def wait_event(self, channel: Channel, name: str, silence: float = SILENCE) -> Event:
        """The next event of the channel that has that key; those before it are dropped."""

        def look() -> Event | None:
            while channel.events:
                if name in (event := channel.events.popleft()):
                    return event
            return None

        return self.wait_for(look, f"“{name}”", silence)

    def wait_text(self, text: str, silence: float = SILENCE) -> None:
        """Waits until the console has shown that text."""
        self.wait_for(lambda: True if text.encode() in self.console.text else None, f"“{text}”", silence)

    def wait_end(self, silence: float = SILENCE) -> None:
        """Waits until the machine has switched itself off."""
        self.wait_for(lambda: self.has_ended or None, "the machine to switch itself off", silence)
        status = self._child.wait()
        self._close()
        if status != 0:
            raise self.failure(f"QEMU ended with status {status}")

    def command(self, name: str, **arguments: object) -> object:
        """A QMP command; raises MachineFailed with QEMU's words when it refuses."""
        self.monitor.send({"execute": name, "arguments": arguments})
        answer = self.wait_for(self._answer, f"QMP’s {name}")
        if "error" in answer:
            raise self.failure(f"QMP refused {name}: {answer['error']['desc']}")
        return answer["return"]

    def _answer(self) -> Event | None:
        while self.monitor.events:
            if "return" in (event := self.monitor.events.popleft()) or "error" in event:
                return event
        return None

    def snapshot(self, name: str) -> None:
        """Keeps the whole machine inside its qcow2 images, for QEMU's -loadvm. It goes on running."""
        self.wait_event(self.monitor, "QMP")
        self.command("qmp_capabilities")
        refused = self.command("human-monitor-command", **{"command-line": f"savevm {name}"})
        if refused:
            raise self.failure(f"savevm: {refused}")

    def kill(self) -> None:
        """Ends the machine as when power is cut, if it still runs. QEMU itself writes out what it has."""
        if self._child.poll() is None:
            self._child.send_signal(signal.SIGTERM)
            try:
                self._child.wait(10)
            except subprocess.TimeoutExpired:
                self._child.kill()
                self._child.wait()
        self._close()

    def _close(self) -> None:
        for channel in self._channels:
            channel.close()
        for file in (self._console_file, self._words, self._slot):
            file.close()

    def failure(self, what: str) -> MachineFailed:
        """What went wrong, with the console's last lines."""
        shown = self.console.text.decode(errors="replace").splitlines()[-15:]
        words = (self.log.parent / "qemu.log").read_text(errors="replace").strip()
        return MachineFailed("\n".join([what, *([words] if words else []), *shown, f"console: {self.log}"]))
