"""The loaders of one system on several volumes: where they lie, and whether copies are in step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bootwatch.judge.glance import BOOT_FOLDER
from bootwatch.judge.pairs import plain
from bootwatch.judge.system import System
from bootwatch.model.path import fold
from bootwatch.model.volume import File, Volume

Programs = Mapping[str, File]


def own_folders(system: System, volume: Volume | None = None) -> list[str]:
    """The folders that are a system's alone, on one volume or on all: everybody's default files are not."""
    return [
        folder
        for place, folder in system.folders
        if fold(folder) != BOOT_FOLDER and (volume is None or plain(place) == plain(volume.identity))
    ]


def programs_in(volume: Volume, folders: Iterable[str]) -> dict[str, File]:
    """The programs in some folders of a volume, by their folded paths."""
    tops = tuple({fold(folder).rstrip("\\") + "\\" for folder in folders})
    return {
        folded: file
        for folded, file in volume.by_folded_path.items()
        if tops and file.program and folded.startswith(tops)
    }


def differing(mine: Programs, its: Programs) -> list[str]:
    """The folded paths of programs that lie on both sides with another content; what could not be read
    differs from nothing."""
    return [path for path in mine if path in its and is_other(mine[path], its[path])]


def in_step(mine: Programs, its: Programs) -> bool:
    """Whether both sides hold the same programs as far as they hold them both, or all that one side holds
    lies on the other too, wherever."""
    if any(path in its for path in mine):
        return not differing(mine, its)
    one, other = _contents(mine), _contents(its)
    return bool(one and other) and (one <= other or other <= one)


def _contents(programs: Programs) -> set[str]:
    return {file.sha256 for file in programs.values() if file.sha256}


def is_other(one: File, other: File) -> bool:
    return None not in (one.sha256, other.sha256) and one.sha256 != other.sha256
