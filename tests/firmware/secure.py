"""Many programs in one start of a firmware with Secure Boot: which of them ran, and what ours says."""

import io
from collections.abc import Mapping
from pathlib import Path

from bootwatch.formats.pe import Image
from bootwatch.judge.trust import SecureBoot, Trust
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable
from tests.firmware import firmware
from tests.firmware.disk import MIB, Disk, Fat, Partition
from tests.firmware.drive import Drive
from tests.firmware.machine import Machine
from tests.firmware.programs import program
from tests.firmware.signing import Owner, certificates
from tests.firmware.variables import GLOBAL, Variables, file_on, load_option

SECURITY = "d719b2cb-3d3a-4596-a3bc-dad00e67656f"
_ENABLE = "f0a30bc7-af08-4556-99c4-001009c93a44"
_PART = "33333333-3333-4333-8333-333333333333"
_AUTHENTICATED = 0x27  # kept, readable early and late, written with a signed time (UEFI 2.10 §8.2)
LAST = "last"


def switch_on(variables: Variables, db: bytes, dbx: bytes) -> None:
    """Secure Boot on, with these databases; empty ones are left away."""
    platform = certificates(Owner("The maker of this machine"))
    for name in ("PK", "KEK"):
        variables.set(name, platform, guid=GLOBAL, attributes=_AUTHENTICATED)
    for name, data in (("db", db), ("dbx", dbx)):
        if data:
            variables.set(name, data, guid=SECURITY, attributes=_AUTHENTICATED)
    variables.set("SecureBootEnable", b"\1", guid=_ENABLE, attributes=3)


def ran(folder: Path, programs: Mapping[str, bytes], db: bytes, dbx: bytes) -> set[str]:
    """Which of them the firmware runs; each leaves at once, and the firmware goes on to the next. The one
    named LAST switches the machine off, so it has to be allowed."""
    files = {f"\\EFI\\quarry\\{name}.efi": data for name, data in programs.items()}
    disk = Disk((Partition(_PART, size=64 * MIB, content=Fat(files)),))
    machine = Machine(folder, (Drive(disk.write(folder / "disk.raw")),), firmware.X64_SECURE)
    with machine.variables() as variables:
        for number, name in enumerate(programs, 1):
            path = file_on(disk, 1, f"\\EFI\\quarry\\{name}.efi")
            variables.set(f"Boot{number:04X}", load_option(name, path))
        variables.order = list(range(1, len(programs) + 1))
        switch_on(variables, db, dbx)
    names = dict(enumerate(programs, 1))
    return {names[int(event["current"], 16)] for event in machine.run()}


def judged(programs: Mapping[str, bytes], db: bytes, dbx: bytes) -> dict[str, Trust]:
    """What ours says of them under the same databases."""
    secure = SecureBoot.of(state(db, dbx), ())
    return {name: secure.judge(Image.read(io.BytesIO(data))) for name, data in programs.items()}


def state(db: bytes, dbx: bytes) -> State:
    """A machine's with Secure Boot on."""
    variables = {f"SecureBoot-{GLOBAL}": Variable(6, b"\1")}
    for name, data in (("db", db), ("dbx", dbx)):
        if data:
            variables[f"{name}-{SECURITY}"] = Variable(_AUTHENTICATED, data)
    return State(variables=variables)


def leaver() -> bytes:
    """The program that every one of them is, before it is signed."""
    return program("leaver")
