"""What a restore wrote and what did not last."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.finding import told
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding

_MOST = 4


def restore_not_kept(scene: Scene) -> Iterator[Finding]:
    """One for all of it: it is written once more at one go."""
    unkept = scene.past.unkept
    if unkept is None:
        return
    things = list(unkept.things[:_MOST])
    if more := len(unkept.things) - _MOST:
        things += [f"{more} more"] if more > 0 else []
    what = things[0] if len(things) == 1 else f"{', '.join(things[:-1])} and {things[-1]}"
    yield told("restore-not-kept", (unkept.restore,), what, unkept.restore)
