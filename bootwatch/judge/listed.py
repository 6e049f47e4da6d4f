"""The entries that the list beside a system's loaders names (BOOT<ARCH>.CSV)."""

from __future__ import annotations

from bootwatch.formats.boot_list import Row, parse
from bootwatch.judge.architecture import architecture_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume


def list_name(state: State) -> str:
    """The list's file name, for this machine's firmware."""
    return f"BOOT{architecture_of(state).name}.CSV"


def listed(state: State, volume: Volume, folder: str) -> list[Row]:
    """What the list in a folder names; nothing where there is none, or its content wasn't recorded."""
    file = volume.file(f"{folder}\\{list_name(state)}")
    text = state.texts.get(file.sha256 or "") if file and not file.is_folder else None
    return parse(text) if text else []
