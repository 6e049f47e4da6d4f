"""The baseline's entries byte for byte, as the UEFI shell takes them: a file for `dmpstore -l`, and lines."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from bootwatch.formats import guid
from bootwatch.judge.entries import read_entries, variable_of
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL, Variable, entry_number, key, split_file_name
from bootwatch.recover.shell_text import LONGEST_LINE, remarks, script

_SIZES = struct.Struct("<II")
_NUMBER = struct.Struct("<I")
# UEFI 2.10 §8.2: non-volatile, before and after the system has started. Others aren't written by name alone.
_USUAL = 0x07
_CAUTION = (
    "Everything here is written over what is there, the boot order too: entries that were made since are no "
    "longer in it. Where startup.nsh does, take that; this is for when exactly the former entries are wanted."
)


def dmpstore_file(state: State) -> bytes:
    """What `dmpstore -l FILE` loads: the boot entries and their order.

    A record for each variable: u32 bytes of the name, u32 bytes of the data, name (UTF-16, NUL), GUID, u32
    attributes, data, u32 CRC-32 of all before. (edk2's ShellPkg)
    """
    return b"".join(_record(name, variable) for name, variable in _variables(state))


def _record(file_name: str, variable: Variable) -> bytes:
    name = (_plain(file_name) + "\0").encode("utf-16-le")
    head = _SIZES.pack(len(name), len(variable.data)) + name + guid.to_bytes(GLOBAL)
    record = head + _NUMBER.pack(variable.attributes) + variable.data
    return record + _NUMBER.pack(zlib.crc32(record))


def _variables(state: State) -> Iterator[tuple[str, Variable]]:
    """The entries by number, then their order."""
    numbers = sorted(number for name in state.variables if (number := entry_number(name)) is not None)
    for name in (*map(variable_of, numbers), key("BootOrder")):
        variable = state.variables.get(name)
        if variable and variable.attributes == _USUAL and variable.data:
            yield name, variable


def _plain(file_name: str) -> str:
    found = split_file_name(file_name)
    return found[0] if found else file_name


def entries_nsh(state: State) -> bytes:
    """The same as a script of the shell, one `setvar` a variable."""
    labels = {variable_of(entry.number): entry.label for entry in read_entries(state).values()}
    lines = ["@echo -off", *remarks(_CAUTION)]
    for name, variable in _variables(state):
        own, digits = _plain(name), variable.data.hex().upper()
        lines += remarks(f"{own} {labels.get(name, '')}")
        if len(digits) < LONGEST_LINE:
            lines.append(f"setvar {own} -guid {GLOBAL} -nv -bs -rt ={digits}")
        else:
            lines += remarks("It is too long for a line of the shell: it is in entries.dmpstore.")
    return script(lines)
