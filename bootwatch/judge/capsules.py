"""Firmware updates that wait for the next start (UEFI 2.10 §8.5.4, §8.5.5)."""

from __future__ import annotations

import re
from collections.abc import Iterator

from bootwatch.judge.entries import read_entries, read_next
from bootwatch.judge.pairs import plain
from bootwatch.model.path import fold, folder_of, is_within
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

_DELIVERY = 0x04  # EFI_OS_INDICATIONS_FILE_CAPSULE_DELIVERY_SUPPORTED
_FOLDER = "\\EFI\\UpdateCapsule"
_NAME = re.compile(r"\\EFI\\[^\\]+\\FW\\[^\\]+\.(?:CAP|CAPSULE|BIN|ROM|FD)")
_MOST = 8


def waiting_capsules(state: State) -> tuple[str, ...]:
    """What shows that the firmware is told to update itself; nothing where nothing does.

    A file in the standard's own folder counts unless the firmware says that it takes none from there. One in
    a folder ``fw`` below \\EFI is left there by some updaters for months: it counts only while BootNext leads
    to a program beside that folder.
    """
    takes_files = _takes_files(state)
    found = (
        ["OsIndications asks for it"] if takes_files and _number(state, "OsIndications") & _DELIVERY else []
    )
    for volume in state.volumes.values():
        disk = state.disks.get(volume.disk)
        if disk is None or not disk.removable:
            places = _files(state, volume, takes_files)
            found += [f"{volume.identity}, {path}" for path in places]
    return tuple(found[:_MOST])


def _takes_files(state: State) -> bool:
    """Whether the firmware may take updates from files; what it doesn't say is left open."""
    if state.variable("OsIndicationsSupported") is None:
        return True
    return bool(_number(state, "OsIndicationsSupported") & _DELIVERY)


def _number(state: State, name: str) -> int:
    variable = state.variable(name)
    return int.from_bytes(variable.data, "little") if variable and len(variable.data) == 8 else 0


def _files(state: State, volume: Volume, takes_files: bool) -> Iterator[str]:
    updater = _updater_folder(state, volume)
    for folded, file in volume.by_folded_path.items():
        if file.is_folder or not file.size or not folded.startswith("\\EFI\\"):
            continue
        is_standard = takes_files and is_within(file.path, _FOLDER)
        if is_standard or (updater and _NAME.fullmatch(folded) and folded.startswith(updater + "\\FW\\")):
            yield file.path


def _updater_folder(state: State, volume: Volume) -> str:
    """The folded folder of the program on this volume that BootNext leads to; "" for none."""
    entry = read_entries(state).get(number) if (number := read_next(state)) is not None else None
    if entry is None or entry.file is None or entry.volume not in (None, plain(volume.identity)):
        return ""
    return fold(folder_of(entry.file))
