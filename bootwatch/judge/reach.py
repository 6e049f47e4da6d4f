"""What was found beyond a loader."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bootwatch.judge.ground import Place


class Reach(StrEnum):
    """How far a route was followed."""

    LOADER = "loader"
    KERNEL = "kernel"


@dataclass(frozen=True)
class Lead:
    """Another program that a loader's start menu hands over to.

    ``title`` is the menu entry's name, ``config`` the file that says so ("" for neither). ``is_there`` None:
    it can't be told. ``volume`` "": on no volume that is there.
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
