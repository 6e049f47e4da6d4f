"""Which files change at many starts, and which volumes come and go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.judge.startup import simulate
from bootwatch.keep import churn
from bootwatch.keep.history import History
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.past import Past
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.model.volume import File
from bootwatch.service.starts import keep_prediction
from tests.judge.states import FERNWICK_PART, QUARRY_PART, disk, program, state, text

HALL, ATTIC = disk("hall", FERNWICK_PART), disk("attic", QUARRY_PART)
STORE = "\\EFI\\quarry\\store"
SPOT = (f"gpt:{QUARRY_PART}", STORE.upper())


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with History.open(tmp_path) as opened:
        yield opened


def machine(**contents: File) -> State:
    files = {"\\EFI\\quarry\\startx64.efi": program("quarry")}
    files |= {f"\\EFI\\quarry\\{name}": file for name, file in contents.items()}
    return state([(HALL, 1, {"\\EFI\\fernwick\\loaderx64.efi": program("fernwick")}), (ATTIC, 1, files)])


def record(history: History, boot: str, held: State, *gaps: Gap) -> Past:
    """Record one snapshot; what the history shows then."""
    # The clock goes back: nothing depends on it.
    now = Circumstance(boot, Moment.BOOT, f"20{99 - int(boot):02}-01-01T00:00:00Z")
    with history.transaction():
        before = history.last_number()
        snapshot = Snapshot(now, held, gaps)
        snapshot = snapshot.numbered(history.add(snapshot, {}))
        keep_prediction(history, snapshot, simulate(held, gaps))
        churn.note(history, snapshot, before)
    return churn.past(history, now)


def test_what_changes_at_three_starts_of_four_is_volatile(history: History) -> None:
    contents = ["one", "two", "two", "three", "four"]
    seen = [
        SPOT in record(history, str(start), machine(store=text(content))).volatile
        for start, content in enumerate(contents)
    ]
    assert seen == [False, False, False, False, True]


def test_changes_within_one_start_count_once(history: History) -> None:
    for content in ("one", "two", "three", "four", "five"):
        shown = record(history, "1", machine(store=text(content)))
    assert shown.volatile == frozenset()
    assert shown.changed_in == {SPOT: 5}


def test_what_changed_long_ago_is_not_volatile(history: History) -> None:
    for start in range(4):
        shown = record(history, str(start), machine(store=text(str(start))))
    assert shown.volatile == {SPOT}
    for start in range(4, 20):
        shown = record(history, str(start), machine(store=text("3")))
    assert shown.volatile == frozenset()


def test_volume_that_left_twice_comes_and_goes(history: History) -> None:
    there, gone = machine(), state([(HALL, 1, {"\\EFI\\fernwick\\loaderx64.efi": program("fernwick")})])
    shown = [record(history, "1", held).restless for held in (there, gone, there, gone)]
    assert shown == [frozenset(), frozenset(), frozenset(), {SPOT[0]}]


def test_volume_that_could_not_be_read_did_not_leave(history: History) -> None:
    there, gone = machine(), state([(HALL, 1, {"\\EFI\\fernwick\\loaderx64.efi": program("fernwick")})])
    unread = Gap("volume", SPOT[0], Reason.UNREADABLE, "")
    for held, gaps in ((there, ()), (gone, (unread,)), (there, ()), (gone, (unread,))):
        shown = record(history, "1", held, *gaps)
    assert shown.restless == frozenset()


def test_last_look_before_this_start_and_first_of_it(history: History) -> None:
    record(history, "1", machine())
    stop = record(history, "1", machine()).begin
    begin = record(history, "2", machine()).begin
    shown = record(history, "2", machine())
    assert stop and begin and shown.begin == begin
    assert shown.stop == replace(stop)
    assert (shown.stop.boot_id, begin.boot_id) == ("1", "2")
