"""The way back with no system at all: the kit on a stick, its startup.nsh in the firmware's own shell."""

import re
import struct
from pathlib import Path

from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Bus, Drive
from tests.firmware.machine import Machine
from tests.firmware.process import Process
from tests.firmware.restore_machine import Dual
from tests.firmware.starts import nodes
from tests.firmware.variables import load_option

# OVMF's firmware volume with the shell in it; its entry is lent for this one start.
_VOLUME = "7cb8bdc9-f8eb-4f34-aaea-3ee4af6516a1"
_LENT = 0x0F0F
_CODES = re.compile(rb"\x1b\[[0-9;=?]*[A-Za-z]|\r")
_KEYS = {" ": "spc", "-": "minus", "\n": "ret", ".": "dot"}
_PROMPT, _DONE = b"Nothing was written so far", "type: reset"
# What it ends with where there is nothing to ask about.
_FINE = b"A firmware may drop what was written"


def by_shell(dual: Dual) -> str:
    """Starts the shell with the kit's stick in and presses the keys that a person would; what was said."""
    machine = with_stick(dual)
    with machine.running() as process:
        begin(process)
        process.wait_text("startup.nsh")  # it counts down to it
        typed(process, "\n")
        if process.wait_for(lambda: _asks(process), "the kit's words"):
            typed(process, "y")
            process.wait_text(_DONE)
        typed(process, "reset -s\n")
        process.wait_end()
        said = _CODES.sub(b"", process.console.text).decode("utf-8", "replace")
    give_back(dual)
    return said[said.index("start again from this kit") :]


def _asks(process: Process) -> bool | None:
    """Whether it waits for a key before it writes; None while it is looking."""
    return True if _PROMPT in process.console.text else False if _FINE in process.console.text else None


def with_stick(dual: Dual, script: bytes | None = None) -> Machine:
    """The machine with the kit on a stick, about to start the firmware's shell; ``script`` instead of the
    kit's own."""
    files = {
        "\\" + str(path.relative_to(dual.kit)).replace("/", "\\"): path.read_bytes()
        for path in _files(dual.kit)
    }
    if script is not None:
        files["\\startup.nsh"] = script
    stick = Disk((Partition(content=Fat(files)),)).write(dual.folder / "kit.raw")
    lent = load_option("Shell", nodes.firmware_file(_VOLUME, nodes.SHELL) + nodes.END)
    with dual.variables() as variables:
        variables.set(f"Boot{_LENT:04X}", lent)
        variables.set("BootNext", struct.pack("<H", _LENT))
    machine = dual.machine
    machine.drives = (*machine.drives, Drive(stick, Bus.USB))
    return machine


def give_back(dual: Dual) -> None:
    """The lent entry is gone again."""
    with dual.variables() as variables:
        variables.delete(f"Boot{_LENT:04X}")


def _files(folder: Path) -> list[Path]:
    return [path for path in sorted(folder.rglob("*")) if path.is_file()]


def begin(process: Process) -> None:
    """QEMU takes keys from now on."""
    process.wait_event(process.monitor, "QMP")
    process.command("qmp_capabilities")


def typed(process: Process, text: str) -> None:
    """Presses keys, one by one."""
    for letter in text:
        process.command("send-key", keys=[{"type": "qcode", "data": _KEYS.get(letter, letter)}])
