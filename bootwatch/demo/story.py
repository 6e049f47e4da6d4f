"""The main job from beginning to end, told step by step."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable
from email.message import EmailMessage
from pathlib import Path

from bootwatch.demo.machine import NAME, DemoMachine, build
from bootwatch.demo.mailserver import MailServer
from bootwatch.demo.update import start_by_entry, start_from_disk, update_quarry
from bootwatch.problem import Problem
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain

_DRIFTED = 1

_BEFORE = f"""\
A PC called "{NAME}" is about to be simulated: two disks, three systems.
Its disks are image files, its firmware's settings are files as Linux shows
them, and bootwatch reads all of it just as it reads a real PC."""

_ALL_IS_WELL = """\
It has started, and all is well. Its owner has bootwatch look, and calls that
good:"""

_SWITCHED_OFF = """\
When Fernwick Linux is shut down, bootwatch looks once more. So it knows later
whether something happened while Fernwick Linux was running or afterwards:"""

_UPDATE = """\
Now Quarry, the other system, runs and updates itself. It brings a new
version of its start program, takes the first place in the firmware's list,
and clears away what is not its own: Fernwick Linux's entry and its loader.
Nobody who sits there sees any of it."""

_NEXT_START = """\
Switched on again, the PC would start Quarry. Somebody picks the disk itself
in the firmware's menu, and Fernwick Linux comes up by a spare way that was
left. bootwatch looks once more:"""

_BEN = """\
Ben sits at the PC and knows nothing of such things. What he gets:"""

_BACK = """\
Anna has it put back, while the PC still runs:"""

_BACK_AGAIN = """\
Switched on again, the PC starts Fernwick Linux. bootwatch looks, and tells
both that it is over:"""

_END = """\
Without these mails the first sign would have been a PC that only starts
Quarry."""

_ADDRESSES = """\
addresses:
  - name: Anna
    to: mailto://127.0.0.1:{port}/?from=study@example.org&to=anna@example.org
  - name: Ben
    to: mailto://127.0.0.1:{port}/?from=study@example.org&to=ben@example.org
    reader: owner
"""
_SETTINGS = """\
looked_after_by: {name: Anna, phone: '01234 567890'}
menu_key: F9
"""


class Story:
    """Tells it on standard output; the machine is built in ``folder``, ``program`` is the command line."""

    def __init__(self, folder: Path, program: Callable[[list[str]], int]) -> None:
        self._folder = folder
        self._program = program

    def tell(self) -> None:
        """Raises Problem when a tool or library is missing, or when a step ended otherwise than it must."""
        with MailServer() as server:
            self._say(_BEFORE)
            machine = build(self._folder)
            _write_settings(machine, server.port)
            self._call_it_good()
            self._let_quarry_update(machine)
            self._look_again(machine)
            print("And what lies in Anna's mailbox:\n")
            _show_mail(server.receive())
            self._say(_BEN)
            _show_mail(server.receive())
            self._put_back(machine)
            _show_mail(server.receive())
            server.receive()
        self._say(_END)

    def _call_it_good(self) -> None:
        self._say(_ALL_IS_WELL)
        self._run("snapshot", "--moment", "boot")
        self._run("baseline", "save", "--reason", "all three systems start", "--yes")

    def _let_quarry_update(self, machine: DemoMachine) -> None:
        self._say(_SWITCHED_OFF)
        self._run("snapshot", "--moment", "shutdown")
        self._say(_UPDATE)
        update_quarry(machine)

    def _look_again(self, machine: DemoMachine) -> None:
        self._say(_NEXT_START)
        start_from_disk(machine)
        self._run("snapshot", "--moment", "boot")
        self._run("send")
        self._say("What happened, for whoever asks at the PC:")
        self._run("drift", expected=_DRIFTED)

    def _put_back(self, machine: DemoMachine) -> None:
        self._say(_BACK)
        self._run("restore", "--write", "--yes")
        self._say(_BACK_AGAIN)
        start_by_entry(machine)
        self._run("snapshot", "--moment", "boot")
        self._run("send")

    def _run(self, *words: str, expected: int = 0) -> None:
        print(f"$ bootwatch {shlex.join(words)}", flush=True)
        status = self._program(["--root", str(self._folder), *words])
        print(flush=True)
        if status != expected:
            raise Problem(
                f"The demo ends here: bootwatch {words[0]} ended with status {status}, not {expected}."
            )

    def _say(self, text: str) -> None:
        print(f"{text}\n", flush=True)


def _write_settings(machine: DemoMachine, port: int) -> None:
    file = machine.root / "etc/bootwatch/addresses.yaml"
    file.parent.mkdir(parents=True)
    # Only its owner may read it: an address can hold a password.
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT, 0o600), "w") as text:
        text.write(_ADDRESSES.format(port=port))
    file.with_name("bootwatch.yaml").write_text(_SETTINGS)


def _show_mail(mail: EmailMessage) -> None:
    lines = [line for name in ("From", "To", "Subject") for line in wrapped(str(mail[name]), 76, f"{name}: ")]
    body = mail.get_body(("plain",))
    text = body.get_content() if body else ""
    lines += ["", *(plain(line) for line in str(text).splitlines())]
    print("\n".join(f"| {line}".rstrip() for line in lines), end="\n\n")
