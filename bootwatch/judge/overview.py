"""What a machine starts from, as people see it: entries in the order of the firmware, volumes, loaders."""

from __future__ import annotations

from typing import Any

from bootwatch.judge.entries import Entry, entry_name, read_next, read_order
from bootwatch.judge.findings import findings
from bootwatch.judge.sides import Sides
from bootwatch.judge.systems import Naming, Systems
from bootwatch.judge.volume_changes import describe, volume_json
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume


def overview(state: State, gaps: tuple[Gap, ...], names: Naming | None = None) -> dict[str, Any]:
    """Entries (those of the boot order first), volumes with their loaders, findings; plain JSON values."""
    sides = Sides(state, state, gaps, gaps, names)
    entries, systems = sides.entries_now, sides.systems
    order = [number for number in dict.fromkeys(read_order(state)) if number in entries]
    rest = [number for number in entries if number not in order]
    following = read_next(state)
    return {
        "entries": [_entry(entries[number], systems, number in order) for number in (*order, *rest)],
        "without_variable": [entry_name(number) for number in read_order(state) if number not in entries],
        "next": entry_name(following) if following is not None else None,
        "volumes": [_volume(volume, state, sides) for volume in state.volumes.values()],
        "findings": [finding.to_json() for finding in findings(state, systems)],
        "gaps": [gap.to_json() for gap in gaps],
    }


def _entry(entry: Entry, systems: Systems, in_order: bool) -> dict[str, Any]:
    return {**entry.to_json(), "system": systems.of_entry(entry), "in_order": in_order}


def _volume(volume: Volume, state: State, sides: Sides) -> dict[str, Any]:
    system = sides.systems.of_volume(volume.identity)
    loaders = sorted((path for path in volume.files if sides.is_loader(volume.identity, path)), key=fold)
    files = [file for file in volume.files.values() if not file.is_folder]
    return {
        **volume_json(state, volume),
        "what": describe(volume, system),
        "system": system,
        "loaders": loaders,
        "files": len(files),
        "bytes": sum(file.size for file in files),
    }
