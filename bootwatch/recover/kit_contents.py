"""What a recovery kit holds, worked out from a baseline and its spares: each file by its path in the kit."""

from __future__ import annotations

import hashlib
import json
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from bootwatch.judge.pairs import plain
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.canonical import canonical
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume
from bootwatch.problem import Problem
from bootwatch.recover.kit_names import folded, is_safe_path, safe_name
from bootwatch.recover.made_anew import is_kept, made_anew
from bootwatch.recover.paths import parts_of
from bootwatch.recover.table_text import table_text

FORMAT = "bootwatch/kit/1"
ABOUT, SUMS, BASELINE, BASELINE_YAML = "about.json", "SHA256SUMS", "baseline.json", "baseline.yaml"
PROGRAM = "bootwatch.pyz"
SETTINGS = "settings.json"
VOLUMES = "volumes"
_ATTRIBUTES = struct.Struct("<I")
_SALT = "bootwatch kit "

Copy = Callable[[str], bytes | None]
"""The content with that SHA-256; None where none was kept."""


@dataclass
class Contents:
    """``files`` by their path in the kit; ``about`` is what about.json says: in it ``without`` are
    programs whose copy is lacking, ``without_files`` what a start needs and no kit ever holds."""

    about: dict[str, Any]
    files: dict[str, bytes] = field(default_factory=dict)
    _taken: set[str] = field(default_factory=set)

    def add(self, path: str, data: bytes) -> bool:
        """False where it can't lie in a kit: the path leads out of it, or is another one's on FAT."""
        own = folded(path)
        if not is_safe_path(path) or own in self._taken:
            return False
        self._taken.add(own)
        self.files[path] = data
        return True

    def whole(self) -> dict[str, bytes]:
        """All files, with what they are about and their sums."""
        files = dict(sorted(self.files.items()))
        files[ABOUT] = json.dumps(self.about, indent=1, sort_keys=True).encode() + b"\n"
        lines = [f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in files.items()]
        return {**files, SUMS: "".join(lines).encode()}


def contents(baseline: Baseline, yaml: bytes, copy: Copy, *, made: str, by: str, serial: int) -> Contents:
    """The kit of one baseline; ``yaml`` is its file, ``serial`` grows with each baseline of the machine."""
    state = baseline.state
    kit = Contents(_about(baseline, made=made, by=by, serial=serial))
    kit.add(BASELINE_YAML, yaml)
    kit.add(BASELINE, canonical(baseline.document).encode())
    for name, variable in sorted(state.variables.items()):
        kit.add(f"variables/{safe_name(name)}", _ATTRIBUTES.pack(variable.attributes) + variable.data)
    for disk in state.disks.values():
        text = table_text(disk)
        if text:
            kit.add(f"tables/{safe_name(disk.key)}.sfdisk", text.encode())
    for volume in state.volumes.values():
        _add_volume(kit, state, volume, copy)
    return kit


def _about(baseline: Baseline, *, made: str, by: str, serial: int) -> dict[str, Any]:
    state = baseline.state
    return {
        "format": FORMAT,
        "machine": baseline.machine,
        "machine_id": machine_mark(state),
        "made": made,
        "by": by,
        "serial": serial,
        "baseline": {
            "digest": baseline.digest,
            "saved": baseline.saved,
            "reason": baseline.reason,
            "by": baseline.by,
            "snapshot": baseline.snapshot,
        },
        "dmi": {name: _text(state.facts.get(name)) for name in ("vendor", "product")},
        "disks": sorted({plain(key) for key in state.disks if not key.startswith("at:")}),
        "partitions": sorted({part.identifier for disk in state.disks.values() for part in disk.partitions}),
        "volumes": {},
        "without": [],
        "without_files": made_anew(state, baseline.overview),
    }


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def machine_mark(state: State) -> str | None:
    """Tells one system's machine-id from others without saying it (machine-id(5))."""
    own = state.facts.get("machine_id")
    return hashlib.sha256(f"{_SALT}{own}".encode()).hexdigest() if isinstance(own, str) and own else None


def _add_volume(kit: Contents, state: State, volume: Volume, copy: Copy) -> None:
    folder = safe_name(volume.identity)
    kit.about["volumes"][volume.identity] = folder
    for file in volume.files.values():
        if file.is_folder or not file.sha256:
            continue
        data = state.texts.get(file.sha256)
        if data is None:
            data = copy(file.sha256)
        is_in = data is not None and kit.add(place_of(folder, file), data)
        if not is_in and file.program and is_kept(file, state.texts):
            kit.about["without"].append({"volume": volume.identity, "path": file.path})


def place_of(folder: str, file: File) -> str:
    """Where a file of a boot volume lies in a kit; "" where it can't."""
    try:
        return "/".join((VOLUMES, folder, *parts_of(file.path)))
    except Problem:
        return ""
