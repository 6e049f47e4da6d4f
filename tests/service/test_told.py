"""What is told though something like it was known, and what is told to nobody: lives played to their end."""

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


def test_disk_with_a_system_that_fails_again_and_again_is_never_taken_for_a_guest(stage: Stage) -> None:
    out, back = {"disk attic": "gone"}, {"disk attic": "plugged in"}
    *_, again, there, lost = played(
        stage, out, back, out, back, out, back, {"files on quarry-esp": WAYS_TO_QUARRY}
    )
    assert (names(again), names(there)) == (["volume-missing"], [])
    assert names(lost) == ["loader-missing", "loader-missing"]


def test_writing_of_this_system_is_no_proof_that_the_other_one_started(stage: Stage) -> None:
    """Quarry's store, which it writes at its starts, is written by this system after Quarry's update."""
    starts: list[dict[str, Any]] = [
        {"files on quarry-esp": {"\\EFI\\quarry\\store": f"data store {one}"}} for one in range(2, 5)
    ]
    updated = {"program": "quarry-loader 12", "calls itself": {"product": "Quarry"}}
    update: dict[str, Any] = {"tpm": 60, "files on quarry-esp": {"\\EFI\\quarry\\startx64.efi": updated}}
    steps = [step for one in (*starts, update) for step in ({"moment": "shutdown"}, one)]
    written = {"moment": "watch", "files on quarry-esp": {"\\EFI\\quarry\\store": "data store 9"}}
    *_, last = played(stage, *steps, {}, written)
    loader = next(one for one in last.drift.changes if one.change == "loader-changed")
    assert loader.accepted == ""
