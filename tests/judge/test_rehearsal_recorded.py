"""Losses that happened to machines on real firmware: each is one that a rehearsal would have gone through."""

from __future__ import annotations

import pytest

from bootwatch.judge import altered
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Rehearsed
from bootwatch.judge.systems import Systems
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from tests.firmware.starts import losses, recordings
from tests.firmware.starts.agreement import disagreement, seen
from tests.firmware.starts.recordings import Recording

pytestmark = pytest.mark.long

# Which system's update does these is chosen otherwise there: by any program that was at hand.
_OTHERWISE = {"order-first", "default-file"}


def rehearsed(one: Recording) -> list[Rehearsed]:
    """Those that leave the machine as the recorded loss did."""
    assert one.loss
    usual = altered.usual(one.state)
    lost = losses.foreseen(usual, one.loss)
    found = rehearse(usual, one.gaps, Systems.learn([usual]), None).losses
    return [each for each in found if each.loss.apply(usual) == lost]


def test_each_recorded_loss_is_rehearsed_and_led_to_what_was_said() -> None:
    """Where the firmware was asked for something once, that came first: there only the loss is compared."""
    made = [one for one in recordings.read("losses") if one.loss and one.loss["kind"] not in _OTHERWISE]
    assert len(made) >= 40
    for one in made:
        (loss,) = rehearsed(one)
        assert one.loss and loss.loss.kind.value == one.loss["kind"]
        after = loss.loss.apply(one.state)
        assert disagreement(after, one.gaps, one.result) is None, one.seed
        following = loss.seen.next_start
        if altered.usual(one.state) is one.state and following.certain:
            file = fold(following.file) if following.file else None
            assert (following.volume, file) == ran(after, one), one.seed


def ran(state: State, one: Recording) -> tuple[str | None, str | None]:
    """Volume and folded file of what ran first of all; None for both where nothing on a disk did."""
    there = seen(state, one.result.programs[0]) if one.result.programs else None
    return (there.volume, there.file) if there else (None, None)
