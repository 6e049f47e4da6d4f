"""However a command is cut off: the next one works, nothing is torn, lost or told twice."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.service.killing import STORIES, Scene, Story
from tests.service.kills import RANDOM, at_every_call, at_random, of_sending, spots_of
from tests.service.send_kills import Sending, Thread

_NAMES = [story.name.replace(" ", "-") for story in STORIES]


@pytest.mark.long
def test_killed_at_a_few_calls(tmp_path: Path) -> None:
    scene = Scene(next(story for story in STORIES if story.name == "baseline save over an alert"), tmp_path)
    spots = spots_of(scene, tmp_path)
    renames = [spot for spot in spots if spot[0] == "rename"]
    few = [renames[0], renames[-1], spots[len(spots) // 2]]
    assert at_every_call(scene, tmp_path, few).failures == []


@pytest.mark.whole
@pytest.mark.parametrize("story", STORIES, ids=_NAMES)
def test_killed_at_every_call(story: Story, tmp_path: Path) -> None:
    tally = at_every_call(Scene(story, tmp_path), tmp_path)
    assert tally.failures == []
    assert tally.kills > 60
    assert tally.finished < tally.kills / 10
    assert {"write", "fsync", "rename", "make"} <= tally.sorts.keys()
    assert {one.recorded for one in tally.outcomes} == {False, True}
    assert {one.spooled for one in tally.outcomes} == ({False, True} if story.news else {False})
    assert {one.baseline_new for one in tally.outcomes} == (
        {False, True} if story.writes_baseline else {False}
    )


@pytest.mark.whole
@pytest.mark.parametrize("story", STORIES, ids=_NAMES)
def test_killed_at_random_moments(story: Story, tmp_path: Path) -> None:
    seed = random.SystemRandom().randrange(10**6)
    print(f"seed {seed}")
    chance = random.Random(seed)
    shares = [chance.random() for _ in range(-(-RANDOM // len(STORIES)))]
    tally = at_random(Scene(story, tmp_path), shares)
    assert tally.failures == []
    assert tally.kills == len(shares)


@pytest.mark.long
def test_sent_again_only_between_the_confirmation_and_its_receipt(tmp_path: Path) -> None:
    """Both sides of that time, at the calls next to its borders."""
    with Sending(tmp_path) as sending:
        spots = [both for both in sending.spots if both[0] is Thread.TECHNICIAN]
        calls = [spot[0] for _, spot in spots]
        # A receipt takes its place for an attempt, then for the delivery.
        end = [place for place, call in enumerate(calls) if call == "rename"][1]
        found = of_sending(sending, spots[end - 4 : end + 2])
    assert found.failures == []
    assert found.first_after == {"fsync": 1}, "with its rename the receipt counts"
    # The line is closed, then the receipt is written.
    assert found.calls_within == {"write": 2, "fsync": 1, "rename": 1}
    assert found.before[1] > 0


@pytest.mark.whole
def test_the_sender_killed_at_every_call(tmp_path: Path) -> None:
    with Sending(tmp_path) as sending:
        found = of_sending(sending, sending.spots)
    assert found.failures == []
    assert found.kills > 80
    assert found.first_after == {"fsync": 4}
    assert found.calls_within == {"write": 8, "fsync": 4, "rename": 4}
