"""What a machine starts from, as people see it: entries in the order of the firmware, volumes, loaders."""

from __future__ import annotations

from typing import Any

from bootwatch.judge.entries import Entry, entry_name, read_entries, read_next, read_order
from bootwatch.judge.glance import is_default_file
from bootwatch.judge.needed import needed
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.systems import Systems
from bootwatch.judge.volume_changes import describe, volume_json
from bootwatch.model.change import Finding
from bootwatch.model.path import fold
from bootwatch.model.volume import Volume


def overview(scene: Scene, findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Entries (those of the boot order first), volumes with their loaders, what starts need, findings; plain
    JSON values."""
    state, systems, entries = scene.state, scene.systems, read_entries(scene.state)
    order = [number for number in dict.fromkeys(read_order(state)) if number in entries]
    rest = [number for number in entries if number not in order]
    following = read_next(state)
    reached = {entry.place for entry in entries.values() if entry.file}
    return {
        "entries": [_entry(entries[number], systems, number in order) for number in (*order, *rest)],
        "without_variable": [entry_name(number) for number in read_order(state) if number not in entries],
        "next": entry_name(following) if following is not None else None,
        "volumes": [_volume(volume, scene, reached) for volume in state.volumes.values()],
        "needed": needed(state, scene.outlook),
        "findings": [finding.to_json() for finding in findings],
        "gaps": [gap.to_json() for gap in scene.gaps],
    }


def _entry(entry: Entry, systems: Systems, in_order: bool) -> dict[str, Any]:
    return {**entry.to_json(), "system": systems.of_entry(entry), "in_order": in_order}


def _volume(volume: Volume, scene: Scene, reached: set[tuple[str, str]]) -> dict[str, Any]:
    system = scene.systems.of_volume(volume.identity)
    identity = plain(volume.identity)
    loaders = sorted(
        (path for path in volume.files if (identity, fold(path)) in reached or is_default_file(fold(path))),
        key=fold,
    )
    files = [file for file in volume.files.values() if not file.is_folder]
    return {
        **volume_json(scene.state, volume),
        "what": describe(volume, system),
        "system": system,
        "loaders": loaders,
        "files": len(files),
        "bytes": sum(file.size for file in files),
    }
