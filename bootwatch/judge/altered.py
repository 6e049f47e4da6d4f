"""A state as it would be without something, or with something elsewhere. The state itself never changes."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import replace

from bootwatch.formats.load_option import ACTIVE
from bootwatch.judge.entries import read_order, variable_of
from bootwatch.model.path import fold, is_within
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable, entry_number, key
from bootwatch.model.volume import File, Volume

_KEPT = 0x07  # non-volatile, readable before and after the system has started (UEFI 2.10 §3.3)
_ATTRIBUTES = struct.Struct("<I")
_ONCE = ("BootNext", "OsIndications")


def usual(state: State) -> State:
    """Without what was asked for once only; the state itself where nothing was."""
    names = [key(name) for name in _ONCE if key(name) in state.variables]
    return _without_variables(state, names) if names else state


# variables


def without_entry(state: State, number: int) -> State:
    """Its variable gone, and its number from the boot order."""
    order = read_order(state)
    rest = [one for one in order if one != number]
    state = _without_variables(state, (variable_of(number),))
    return state if rest == order else with_order(state, rest)


def without_order(state: State) -> State:
    """As firmware starts whose settings lost the boot order alone."""
    return _without_variables(state, (key("BootOrder"),))


def without_entries(state: State) -> State:
    """As after a firmware reset: every entry, their order and the next one."""
    entries = (name for name in state.variables if entry_number(name) is not None)
    return _without_variables(state, (*entries, key("BootOrder"), key("BootNext")))


def with_order(state: State, numbers: Iterable[int]) -> State:
    """With another boot order; an empty one is none, since firmware has no empty variables."""
    data = b"".join(struct.pack("<H", number) for number in numbers)
    if not data:
        return without_order(state)
    former = state.variable("BootOrder")
    return _with_variable(state, key("BootOrder"), Variable(former.attributes if former else _KEPT, data))


def with_first(state: State, number: int) -> State:
    """With one entry in front of the boot order."""
    return with_order(state, (number, *(one for one in read_order(state) if one != number)))


def with_entry(state: State, option: bytes, behind: int | None = None) -> State:
    """With a new entry, a load option in bytes, right behind another one in the boot order or at its end."""
    taken = {entry_number(name) for name in state.variables}
    order = read_order(state)
    number = next((one for one in range(0x10000) if one not in taken and one not in order), None)
    if number is None:
        return state
    place = order.index(behind) + 1 if behind in order else len(order)
    state = _with_variable(state, variable_of(number), Variable(_KEPT, option))
    return with_order(state, (*order[:place], number, *order[place:]))


def switched_on(state: State, number: int) -> State:
    """With one entry active, and at the end of the boot order if it isn't in it."""
    variable = state.variables.get(variable_of(number))
    if variable is None or len(variable.data) < _ATTRIBUTES.size:
        return state
    attributes = _ATTRIBUTES.unpack_from(variable.data)[0] | ACTIVE
    data = _ATTRIBUTES.pack(attributes) + variable.data[_ATTRIBUTES.size :]
    state = _with_variable(state, variable_of(number), Variable(variable.attributes, data))
    order = read_order(state)
    return state if number in order else with_order(state, (*order, number))


def _without_variables(state: State, names: Iterable[str]) -> State:
    gone = set(names)
    return replace(state, variables={name: one for name, one in state.variables.items() if name not in gone})


def _with_variable(state: State, name: str, variable: Variable) -> State:
    return replace(state, variables={**state.variables, name: variable})


# files, volumes and disks


def without_file(state: State, volume: str, path: str) -> State:
    """``volume`` is an identity; nothing happens where the file isn't there."""
    held = state.volumes.get(volume)
    file = held.file(path) if held else None
    if held is None or file is None:
        return state
    return _with_files(state, held, {spelled: one for spelled, one in held.files.items() if one is not file})


def without_folder(state: State, volume: str, path: str) -> State:
    """The folder with all that is in it."""
    held = state.volumes.get(volume)
    if held is None:
        return state
    inside = fold(path) + "\\"
    gone = {
        file.path
        for folded, file in held.by_folded_path.items()
        if folded.startswith(inside) or folded == inside[:-1]
    }
    return _with_files(state, held, {path: file for path, file in held.files.items() if path not in gone})


def without_volume(state: State, volume: str) -> State:
    """Its file system gone; the partition stays."""
    return replace(state, volumes={name: one for name, one in state.volumes.items() if name != volume})


def without_disk(state: State, disk: str) -> State:
    """``disk`` is its key; its volumes go with it."""
    return replace(
        state,
        disks={name: one for name, one in state.disks.items() if name != disk},
        volumes={name: one for name, one in state.volumes.items() if one.disk != disk},
    )


def with_copy(state: State, volume: str, file: File, path: str) -> State:
    """With a copy of a file at ``path`` on a volume, in the place of what is there."""
    held = state.volumes.get(volume)
    if held is None:
        return state
    former = held.file(path)
    spelled = former.path if former else path
    copy = replace(file, path=spelled)
    return _with_files(state, held, {**held.files, spelled: copy})


def _with_files(state: State, volume: Volume, files: dict[str, File]) -> State:
    return replace(state, volumes={**state.volumes, volume.identity: replace(volume, files=files)})


def is_below(path: str, folder: str) -> bool:
    """Whether a file lies somewhere in a folder."""
    return fold(path) != fold(folder) and is_within(path, folder)
