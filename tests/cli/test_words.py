"""What the answer in three lines and the history's lines say of a drift."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.cli.answer import _weaker
from bootwatch.cli.history import _lines
from bootwatch.keep.history import Row
from bootwatch.model.change import Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Moment
from tests.tell.samples import DRIFT, ENTRY_MISSING, NO_WAY, SEED_CHANGED, STICK_FIRST, update

UNWATCHED = Finding(
    "starts-unwatched:1", "starts-unwatched", Level.CHANGED, "Fernwick Linux", "61 starts in 20 days", ""
)


@pytest.mark.parametrize(
    ("drift", "said"),
    [
        (
            Drift((ENTRY_MISSING, SEED_CHANGED), (), ()),
            "; since the baseline 1 change weakens how this machine starts",
        ),
        (Drift(update(), (STICK_FIRST,), ()), "; 1 finding"),
        (
            Drift((), (NO_WAY,), DRIFT.gaps),
            "; 1 finding keeps a system from starting; 2 parts could not be read",
        ),
    ],
)
def test_the_answer_says_since_the_baseline_only_of_changes(drift: Drift, said: str) -> None:
    assert _weaker(drift) == said


def _row(number: int, boot: str, drift: Drift) -> Row:
    time = "2026-11-25T07:12:05Z"
    return Row(number, boot, Moment.BOOT, time, "", "", False, drift.to_json(), {})


def _said(row: Row, older: Row | None) -> str:
    return " ".join(" ".join(_lines(row, older, None)).split())


def test_history_names_what_a_snapshot_was_the_first_to_show() -> None:
    rows = [_row(number, "a", Drift((ENTRY_MISSING, *update()), (), ())) for number in (6, 5)]
    assert _said(rows[1], None).endswith("weakens how this machine starts; new: entry missing")
    assert "new" not in _said(*rows)


def test_history_says_once_how_many_starts_went_unwatched() -> None:
    drift = Drift((replace(ENTRY_MISSING, between=(1, 2)),), (UNWATCHED,), ())
    before, first, later = _row(4, "a", DRIFT), _row(5, "b", drift), _row(6, "b", drift)
    assert _said(first, before).endswith("; a new start; 61 starts in 20 days went unwatched")
    assert "unwatched" not in _said(later, first)
