"""What the baseline holds and could not be read this time."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.finding import told
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.judge.volume_changes import describe
from bootwatch.model.change import Finding
from bootwatch.model.gap import Gap
from bootwatch.model.path import is_within


def unseen(sides: Sides) -> Iterator[Finding]:
    """What the baseline holds and could not be read this time, one finding for each gap."""
    for gap in sides.gaps:
        what = _held(sides, gap)
        if what:
            identity = (gap.kind, gap.name, gap.path or "")
            yield told("unseen", identity, what, f"{gap.reason.value}: {gap.detail}")


def _held(sides: Sides, gap: Gap) -> str | None:
    """What of the baseline a gap hides, as a noun phrase; None when the baseline holds nothing of it."""
    if gap.kind == "variables":
        return _held_variables(sides, gap)
    if gap.kind == "disk":
        gone = [volume for volume in sides.volumes.missing if not sides.knows_volume_gone(volume)]
        return f"the disk {gap.name}" if gone or gap.name == "*" else None
    if gap.kind == "volume":
        held = next(
            (one for one in sides.before.volumes.values() if plain(one.identity) == plain(gap.name)), None
        )
        if held is None:
            return None
        volume = describe(held, sides.systems.of_volume(held.identity))
        if gap.path is None:
            return volume
        holds = any(is_within(path, gap.path) for path in held.files)
        return f"the file or folder {gap.path} on {volume}" if holds else None
    return None


def _held_variables(sides: Sides, gap: Gap) -> str | None:
    if gap.name == "*":
        return "the firmware's variables"
    if gap.name not in sides.before.variables and gap.name not in sides.unread_entries:
        return None
    return f"the firmware's variable {gap.name.partition('-')[0]}"
