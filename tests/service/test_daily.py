"""Looks at a machine that is left on for days."""

from __future__ import annotations

from typing import Any

from bootwatch.model.change import Custody
from tests.situations.play import Scene, Stage

DAY = {"moment": "watch"}
LOADER = "\\EFI\\fernwick\\loaderx64.efi"


def played(*then: dict[str, Any]) -> list[Scene]:
    with Stage.made() as stage:
        steps = [{"moment": "boot"}, *then]
        return list(stage.play({"what": "", "machine": "usual", "then": steps, "expected": {}}).scenes)


def test_days_on_which_nothing_happens_tell_nobody_anything() -> None:
    scenes = played(DAY, DAY, DAY)
    assert [scene.number for scene in scenes] == [2, 3, 4, 5]
    assert [(scene.drift.changes, scene.message) for scene in scenes] == [((), None)] * 4


def test_a_loss_is_told_on_the_day_that_it_is_seen_and_once() -> None:
    *_, before, seen, after = played(DAY, {**DAY, "files on fernwick-esp": {LOADER: "gone"}}, DAY)
    assert before.message is None and after.message is None
    assert seen.message and [change.change for change in seen.message.new_changes] == ["loader-missing"]
    (change,) = after.drift.changes
    # The machine was not switched off between the two looks.
    assert (change.between, change.custody) == ((before.number, seen.number), Custody.HERE)
