"""How far a route can be followed beyond its loader, and where it leads."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bootwatch.judge.ground import Ground, Place
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File


class Reach(StrEnum):
    """How far a route was followed."""

    LOADER = "loader"
    KERNEL = "kernel"


@dataclass(frozen=True)
class Lead:
    """Another program that a loader's start menu hands over to.

    ``title`` is the menu entry's name, ``config`` the file that says so ("" for neither). ``is_there`` None: it
    can't be told.
    """

    volume: str
    path: str
    title: str = ""
    config: str = ""
    is_there: bool | None = True


@dataclass(frozen=True)
class Depth:
    """What lies beyond a loader. ``starts`` None: it can't be told; ``why`` is a sentence without its end.

    ``unattended`` False: what the loader would start by itself is broken, and a person has to choose another
    entry in its menu. ``uses`` are the files beyond the loader that the start as it is now goes through.
    """

    followed_to: Reach
    starts: bool | None
    why: str
    leads_to: tuple[Lead, ...] = ()
    uses: tuple[Place, ...] = ()
    unattended: bool | None = True


def follow(state: State, gaps: tuple[Gap, ...], volume: str, path: str) -> Depth:
    """Follow the loader at ``path`` on the volume with this identity."""
    ground = Ground(state, gaps)
    held = state.volumes.get(volume)
    file = held.file(path) if held else None
    if held is None or (file is None and ground.is_hidden(held, path)):
        return Depth(Reach.LOADER, None, "whether the file is there could not be read")
    if file is None or file.is_folder:
        return Depth(Reach.LOADER, False, "the file is not there")
    return _unified(file) or Depth(Reach.LOADER, True, "what it starts in turn is not known")


def _unified(file: File) -> Depth | None:
    """What is said of a unified kernel image (UAPI); None for any other program."""
    program = file.program
    if program is None or ".linux" not in (program.sections or ()):
        return None
    if program.declared_size is not None and file.size < program.declared_size:
        missing = program.declared_size - file.size
        return Depth(Reach.KERNEL, False, f"it is a unified kernel image that lacks its last {missing} bytes")
    return Depth(Reach.KERNEL, True, "it is a unified kernel image, and whole")
