"""Files that a start goes through and that no copy is ever kept of, an initrd on a boot volume say. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bootwatch.keep.spares import LIMIT
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File


def is_kept(file: File, texts: Mapping[str, bytes]) -> bool:
    """Whether spares and kits hold such a file: small texts, and programs that aren't too large."""
    return file.sha256 in texts or (file.program is not None and file.size <= LIMIT)


def made_anew(state: State, overview: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Those of the files that a start needs, as the ``overview`` of the same baseline names them, which only
    a system's own tools or packages bring back. An overview of before such were named names none."""
    return [one for one in overview.get("needed") or () if not _is_kept(state, one)]


def _is_kept(state: State, one: Mapping[str, Any]) -> bool:
    volume = state.volumes.get(str(one["volume"]))
    file = volume.file(str(one["path"])) if volume else None
    return file is None or is_kept(file, state.texts)
