"""Every situation is judged, told and kept quiet as it is written down."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from bootwatch.judge.meanings import CHANGES, FINDINGS
from bootwatch.model.change import Custody
from bootwatch.model.evidence import Trace
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Moment
from tests.situations.make import wrongs
from tests.situations.owner import NAMES as OWNERS
from tests.situations.owner import owners_words
from tests.situations.play import HERE, Stage, load, names

NAMES = names()
# Their names promise that nobody is told.
QUIET = ("quiet-", "accepted-")
LEAST = 60


@pytest.fixture(scope="module")
def stage() -> Iterator[Stage]:
    with Stage.made() as made:
        yield made


@pytest.mark.parametrize("name", NAMES)
def test_situation(name: str, stage: Stage) -> None:
    told = stage.play(load(name))
    found = wrongs(told)
    assert not found, "\n".join(["otherwise than expected:", *found])
    assert told.text == (HERE / name / "told.txt").read_text("utf-8")
    if name in OWNERS:
        assert owners_words(told) == (HERE / name / "owner.txt").read_text("utf-8")


def test_there_are_enough() -> None:
    assert len(NAMES) >= LEAST
    assert {path.parent.name for path in HERE.glob("*/told.txt")} == set(NAMES)
    assert {path.parent.name for path in HERE.glob("*/owner.txt")} == set(OWNERS)


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith(QUIET)])
def test_quiet_ones_expect_no_message_at_the_end(name: str) -> None:
    expected = load(name)["expected"]
    assert expected.get("message", "none") in ("none", "all-clear")
    assert all(level == "routine" for one in expected.get("changes", []) for level in _level(one))


@pytest.mark.parametrize(
    ("what", "known"),
    [
        ("change", set(CHANGES)),
        ("finding", set(FINDINGS)),
        ("level", {level.value for level in Level}),
        ("while", {custody.value for custody in Custody}),
        ("evidence", {trace.value for trace in Trace}),
        ("moment", {moment.value for moment in Moment}),
    ],
)
def test_each_one_is_expected_somewhere(what: str, known: set[str]) -> None:
    found = {word for name in NAMES for kind, word in _words(load(name)) if kind == what}
    assert known <= found


def _words(said: dict[str, Any]) -> Iterator[tuple[str, str]]:
    yield from (("moment", step["moment"]) for step in said["then"])
    for expected in (said["expected"], *(step.get("expected", {}) for step in said["then"])):
        yield from (("finding", name) for name in expected.get("findings", {}))
        yield from (("evidence", trace) for trace in expected.get("evidence", ()))
        counted = {**expected.get("routine", {}), **expected.get("accepted", {})}
        yield from (("change", name) for name in counted)
        for one in expected.get("changes", ()):
            yield from (("change", name) for name in one)
            yield from (("level", level) for level in _level(one))
            yield from (("evidence", trace) for trace in one.get("evidence", ()))
            yield "while", one.get("while", "")


def _level(change: dict[str, Any]) -> list[str]:
    return [value for key, value in change.items() if key in CHANGES]
