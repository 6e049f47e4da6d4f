"""Unified kernel images that nothing leads to any more: firmware runs them itself. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cmp_to_key

from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.runnable import Judge
from bootwatch.judge.steps import Route
from bootwatch.judge.version_order import compare_versions
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume

_FOLDER = "\\EFI\\LINUX"  # UAPI Boot Loader Specification, type 2


def loose_images(state: State, now: Outlook) -> Iterator[tuple[Volume, File]]:
    """The newest image of each system on each volume, where no start that works comes to any of them. ``now``
    is the outlook on ``state``."""
    routes = [route for route in now.startup.routes if route.starts is not False]
    for volume in state.volumes.values():
        disk = state.disks.get(volume.disk)
        images = [file for file in volume.by_folder.get(_FOLDER, []) if _is_image(state, volume, file)]
        if disk is None or disk.removable or any(_may_use(state, route, volume) for route in routes):
            continue
        newest: dict[str, File] = {}
        for file in sorted(images, key=cmp_to_key(_by_version)):
            newest[file.program.names.get("os_id", "") if file.program else ""] = file
        yield from ((volume, file) for file in newest.values())


def _is_image(state: State, volume: Volume, file: File) -> bool:
    sections = (file.program and file.program.sections) or ()
    verdict = Judge(architecture_of(state)).file(volume, file.path, is_hidden=False)
    return ".linux" in sections and verdict.starts is not False


def _may_use(state: State, route: Route, volume: Volume) -> bool:
    """Whether a start comes to images on a volume, or may: one that wasn't followed to its kernel may start
    from any volume of its disk."""
    if any(place == volume.identity and folder_of(path) == _FOLDER for place, path in route.uses):
        return True
    if route.volume == volume.identity and folder_of(fold(route.file or "")) == _FOLDER:
        return True
    own = state.volumes.get(route.volume or "")
    return not route.is_deep and own is not None and own.disk == volume.disk


def _by_version(one: File, other: File) -> int:
    return compare_versions(one.path.lower(), other.path.lower())
