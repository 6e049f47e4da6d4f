"""What is told though something like it was known, and what is told to nobody: lives played from end to end."""

from __future__ import annotations

from typing import Any

import pytest

from bootwatch.model.change import Custody
from tests.situations.play import Scene, Stage

MISSING = "PARTUUID=5f6d7c8b-9a0e-4b1c-8d2f-3e4f5a6b7c15 umask=0077"
LOADER = "\\EFI\\fernwick\\loaderx64.efi"
NEW_LOADER = {LOADER: {"program": "fernwick-loader 7.2", "reads": ["\\loader\\entries", "loader.conf"]}}
WAYS_TO_QUARRY = {"\\EFI\\quarry\\startx64.efi": "gone", "\\EFI\\BOOT\\BOOTX64.EFI": "gone"}


@pytest.fixture
def stage() -> Any:
    with Stage.made() as made:
        yield made


def played(stage: Stage, *then: dict[str, Any], **besides: Any) -> list[Scene]:
    steps = [{"moment": "boot", **step} for step in then]
    said = {"what": "", "machine": "usual", "then": steps, "expected": {}, **besides}
    return list(stage.play(said).scenes)


def names(scene: Scene) -> list[str]:
    return sorted(own.partition(":")[0] for own in scene.message.news) if scene.message else []


def test_finding_that_is_worse_than_when_the_baseline_was_saved(stage: Stage) -> None:
    as_it_was, worse = played(
        stage,
        {},
        {"fstab": {"/boot/extra": MISSING}},
        baseline={"fstab": {"/boot/extra": f"{MISSING},nofail"}},
    )
    assert names(as_it_was) == []
    assert names(worse) == ["fstab-volume-missing"]


def test_own_update_before_the_look_at_the_boot_is_expected(stage: Stage) -> None:
    update = {"packages": ["updated fernwick-loader 7.2"], "files on fernwick-esp": NEW_LOADER}
    *_, last = played(stage, {"moment": "shutdown"}, update)
    (change,) = last.drift.changes
    assert (change.custody, bool(change.accepted), last.message) == (Custody.UNKNOWN, True, None)
