"""How far a route can be followed beyond its loader, and where it leads."""

from __future__ import annotations

from bootwatch.judge.follower import Follower
from bootwatch.judge.reach import Depth, Lead, Reach
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State

__all__ = ["Depth", "Follower", "Lead", "Reach", "follow"]

# The last state asked about: its routes are followed one after the other.
_last: list[tuple[State, tuple[Gap, ...], Follower]] = []


def follow(state: State, gaps: tuple[Gap, ...], volume: str, path: str) -> Depth:
    """Follow the loader at ``path`` on the volume with this identity. Pure; hostile settings end it soon.

    The same state asked again costs little: what was found of it last is kept.
    """
    if not _last or _last[0][0] is not state or _last[0][1] != gaps:
        _last[:] = [(state, gaps, Follower(state, gaps))]
    return _last[0][2].follow(volume, path)
