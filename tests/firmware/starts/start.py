"""One start of a machine: which programs ran, and how it ended."""

import re
from dataclasses import dataclass
from typing import Any

from tests.firmware.machine import Machine
from tests.firmware.process import Process
from tests.firmware.starts import nodes

# What the firmware's boot manager says on the console of every option that it tries. (edk2's BdsDxe)
_TRY = re.compile(
    rb"BdsDxe: (failed to load|failed to start|loading|starting) (Boot[0-9A-F]{4}|\S+) ([^\r\n]*)\r\n"
)
_NOTHING = b"BdsDxe: No bootable option or device was found."
_DIED = re.compile(rb"Synchronous Exception at|(X64|IA32) Exception Type")
_INTERNAL = re.compile(
    rb"BdsDxe: starting (\S+) \"[^\r\n]*\" from Fv\([0-9A-F-]+\)/FvFile\(([0-9A-F-]+)\)\r\n"
)
_ENDS = {nodes.SHELL: "shell", nodes.MENU: "setup"}
# Seconds. Beside other work, the firmware takes one to two minutes to tidy up a store that is nearly full.
_BOOT_LIMIT = 240.0


@dataclass(frozen=True)
class Program:
    """A program that said from where it was loaded: the firmware's text of the path, optional data in hex,
    the entry that led there. It `left` (returned an error) or `started` (switched the machine off; a program
    that plays a named system says that name instead)."""

    event: str
    path: str
    data: str
    current: str


@dataclass(frozen=True)
class Result:
    """The programs that ran, in order. `end` is "started", "setup", "shell", "nothing"
    (it waits for a key), "reset" or "died" (an exception in the firmware); for what the firmware
    started of itself `entry` says through which option. `tries` are the firmware's own words."""

    programs: tuple[Program, ...]
    end: str
    entry: str | None = None
    tries: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            **vars(self),
            "programs": [vars(program) for program in self.programs],
            "tries": [*self.tries],
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> "Result":
        programs = tuple(Program(**item) for item in document["programs"])
        return cls(**{**document, "programs": programs, "tries": tuple(document["tries"])})


def start(machine: Machine) -> Result:
    """Starts it and waits until it is off, runs what the firmware brings with it, or waits for a key."""
    with machine.running("-no-reboot") as process:
        end, entry = process.wait_for(lambda: _end(process), "the end of its start", _BOOT_LIMIT)
        programs = tuple(Program(**event) for event in process.console.events)
        text = process.console.text
    tries = tuple(b" ".join(match.groups()).decode("utf-8", "replace") for match in _TRY.finditer(text))
    return Result(programs, end, entry, tries)


def _end(process: Process) -> tuple[str, str | None] | None:
    """How the start ended, once that can be told: the firmware says what of its own it starts."""
    for match in _INTERNAL.finditer(process.console.text):
        name, guid = (group.decode() for group in match.groups())
        if guid.lower() in _ENDS:
            return _ENDS[guid.lower()], name
    if _DIED.search(process.console.text):
        return "died", None
    if _NOTHING in process.console.text:
        return "nothing", None
    if not process.has_ended:
        return None
    events = process.console.events
    return ("started" if events and events[-1]["event"] != "left" else "reset"), None
