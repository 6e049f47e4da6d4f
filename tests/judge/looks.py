"""Looking at a machine root before and after something happened to it."""

from __future__ import annotations

from collections.abc import Callable

from bootwatch.judge.drift import compare
from bootwatch.model.change import Drift
from bootwatch.model.snapshot import Moment, Snapshot
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import observe
from tests.roots import Root


def look(root: Root, named: tuple[str, ...] = ()) -> Snapshot:
    return observe(Machine(root.folder), Moment.ASKED, named=named)


def drift_after(root: Root, happens: Callable[[Root], None]) -> Drift:
    """What is said of a machine after ``happens``, against a baseline from before."""
    before = look(root)
    happens(root)
    return compare(before.state, before.gaps, look(root, tuple(before.state.volumes))).drift
