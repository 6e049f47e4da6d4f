"""Firmware variables, read once each through efivarfs."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass, field

from bootwatch.model.gap import Gap, Reason
from bootwatch.model.variable import (
    GLOBAL,
    IMAGE_SECURITY,
    LOADER_INTERFACE,
    SHIM_MIRROR,
    Variable,
    key,
    split_file_name,
)
from bootwatch.observe.machine import Machine, detail_of, reason_for

FOLDER = "sys/firmware/efi/efivars"
_WANTED = frozenset({GLOBAL, IMAGE_SECURITY, LOADER_INTERFACE, SHIM_MIRROR})
_ENTRY = re.compile(r"Boot[0-9A-Fa-f]{4}")
_ATTRIBUTES = struct.Struct("<I")
_ROOM = 64 << 10
_MOST = 1 << 20


@dataclass
class Variables:
    """What belongs to the state, what is circumstance, and what could not be read."""

    state: dict[str, Variable] = field(default_factory=dict)
    circumstance: dict[str, Variable] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)


def read_variables(machine: Machine) -> Variables:
    """Read the namespaces that matter for starting, each variable with one read(2)."""
    found = Variables()
    try:
        names = machine.names(FOLDER)
    except OSError as error:
        found.gaps.append(Gap("variables", "*", reason_for(error), f"{FOLDER}: {detail_of(error)}"))
        return found
    doubt = _doubt_about(names)
    if doubt:
        found.gaps.append(Gap("variables", "*", Reason.UNREADABLE, doubt))
    for name in names:
        split = split_file_name(name)
        if split and split[1] in _WANTED:
            _read_one(machine, name, key(*split), found)
    return found


def _doubt_about(names: list[str]) -> str:
    """Why a listing that ended without an error can't be the whole list; "" when it can.

    BootOrder alone absent is a legitimate state; BootOrder and every entry absent at once is a listing that
    the firmware ended early.
    """
    if not names:
        return "the firmware listed no variable at all"
    start = [split[0] for split in map(split_file_name, names) if split and split[1] == GLOBAL]
    if "BootOrder" not in start and not any(_ENTRY.fullmatch(name) for name in start):
        return "the firmware listed neither BootOrder nor any boot entry: its listing ended early"
    return ""


def _read_one(machine: Machine, file_name: str, name: str, found: Variables) -> None:
    try:
        raw = machine.read_once(f"{FOLDER}/{file_name}", _ROOM, _MOST + 1)
    except FileNotFoundError:
        found.gaps.append(Gap("variables", name, Reason.UNREADABLE, "listed, but gone when it was read"))
        return
    except OSError as error:
        found.gaps.append(Gap("variables", name, reason_for(error), detail_of(error)))
        return
    if not raw:
        # The firmware says that it has none of that name; the file was made for one that was never written
        # (linux/fs/efivarfs/file.c).
        return
    if len(raw) < _ATTRIBUTES.size:
        found.gaps.append(Gap("variables", name, Reason.DAMAGED, "shorter than its attributes"))
    elif len(raw) > _MOST:
        found.gaps.append(Gap("variables", name, Reason.LIMIT, f"larger than {_MOST} bytes"))
    else:
        variable = Variable(_ATTRIBUTES.unpack_from(raw)[0], raw[_ATTRIBUTES.size :])
        _side(name, found)[name] = variable


def _side(name: str, found: Variables) -> dict[str, Variable]:
    """BootCurrent and what the boot loader interface says belong to this start, not to the state."""
    if name == key("BootCurrent") or name.endswith(LOADER_INTERFACE):
        return found.circumstance
    return found.state
