"""A plan that was handed over: what the reader works out is taken, and nothing that isn't of its kind."""

from __future__ import annotations

from typing import Any

import pytest

from bootwatch.problem import Problem
from bootwatch.service.handed_plan import require_plan
from tests.cli.commands import Commands
from tests.roots import QUARRY_LOADER, Root

pytestmark = pytest.mark.long


@pytest.fixture
def damaged(hall: Root, capsys: pytest.CaptureFixture[str]) -> Commands:
    """The usual machine, saved, with a loss of each system."""
    bootwatch = Commands(hall, capsys)
    bootwatch.save()
    hall.remove("vdb", 1, QUARRY_LOADER)
    hall.variable_file("Boot0000").unlink()
    hall.order(1, 2)
    return bootwatch


def test_every_sort_of_plan_is_taken_as_it_is_made(damaged: Commands) -> None:
    for words in (
        [],
        ["--only", "Quarry"],
        ["--without-baseline"],
        ["--add-route", "Tarn Rescue"],
        ["--trial", "Tarn Rescue"],
    ):
        made = damaged("restore", "--json", *words).document
        require_plan(made)
        assert made["format"].startswith("bootwatch/"), words


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "other"},
        {"machine": 5},
        {"left": "all"},
        {"left": [{"what": "x"}]},
        {"questions": [{"was": 1}]},
        {"baseline": None},
        {"last": {}},
        {"now": {"systems": [{"name": "x", "how": "somehow"}], "next": None, "by": ""}},
        {"single_points": {"before": [{}], "after": []}},
        {"secure_boot": [{"volume": "x", "path": "x", "verdict": "allowed", "why": ""}]},
        {"secure_boot": [{"path": "x"}]},
    ],
)
def test_what_is_of_another_kind_is_refused(damaged: Commands, change: dict[str, Any]) -> None:
    made = damaged("restore", "--json").document
    with pytest.raises(Problem, match="nothing was written"):
        require_plan(made | change)
