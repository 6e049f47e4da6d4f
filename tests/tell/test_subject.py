"""The subject alone has to be enough to decide."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.subject import subject
from bootwatch.tell.wording import body
from tests.tell import kinds
from tests.tell.route_samples import clones, following, nothing, unread
from tests.tell.samples import STICK_FIRST, message

SETUP = {
    **kinds.QUARRY_NEXT,
    "next_start": {**kinds.QUARRY_NEXT["next_start"], "by": "setup", "system": None, "outcome": "setup"},
}


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (kinds.stranded(), "Quarry would not start (loader missing)"),
        (kinds.diverted(), "Quarry instead of Fernwick Linux at the next switch-on (order changed)"),
        (kinds.weakened(), "a way of starting Fernwick Linux is gone (entry missing)"),
        (kinds.reminder(), "still Quarry instead of Fernwick Linux at the next switch-on (order changed)"),
        (kinds.all_clear(), "all clear: the machine is back at its baseline"),
        (
            kinds.better(),
            "no longer stranded; a way of starting Fernwick Linux is still gone (entry missing)",
        ),
        (kinds.sign_of_life(), "sign of life; nothing is open"),
        (
            replace(kinds.sign_of_life(), drift=kinds.stranded().drift, still_open=Level.STRANDED),
            "sign of life; Quarry still would not start (loader missing)",
        ),
        (replace(kinds.reminder(), drift=Drift((), (), ())), "still diverted, as far as could be seen"),
        (
            message(Drift((), (STICK_FIRST,), ()), news=(STICK_FIRST.id,)),
            'the firmware tries a removable disk first, through the entry "Stick" (needs a look)',
        ),
    ],
)
def test_machine_first_then_what_would_happen(told: Message, said: str) -> None:
    assert subject(told) == f"reading-room-3: {said}"


@pytest.mark.parametrize(
    ("next_start", "instead"),
    [
        ({}, "something else"),
        ({"next_start": {"by": "nothing"}}, "something else"),
        (unread(), "something else"),
        (nothing(), "no system"),
        (SETUP, "the firmware's setup"),
        (clones(), "something else"),
        ({**kinds.QUARRY_NEXT, "next_start": kinds.AS_USUAL["next_start"]}, "something else"),
        (
            {**kinds.QUARRY_NEXT, "next_start": following(kinds.QUARRY_NEXT["next_start"], None)},
            '"Quarry"',
        ),
    ],
    ids=[
        "no routes",
        "of another version",
        "not read",
        "nothing",
        "setup",
        "clones",
        "the usual one",
        "a program",
    ],
)
def test_what_starts_instead_is_only_named_where_it_is_known(
    next_start: dict[str, object], instead: str
) -> None:
    told = replace(kinds.diverted(), routes=next_start)
    assert subject(told).startswith(f"reading-room-3: {instead} instead of Fernwick Linux at")
    assert "{" not in body(told)


def test_the_worst_of_several_and_how_many_more_there_are() -> None:
    one = replace(STICK_FIRST, id="removable-first:2")
    two = message(Drift((), (STICK_FIRST, one), ()), news=(STICK_FIRST.id, one.id))
    assert subject(two).endswith('"Stick" and 1 more (needs a look)')


def test_long_and_hostile_names_leave_a_subject_of_one_line() -> None:
    (long,) = (one for one in kinds.stranded().drift.changes if one.level is Level.STRANDED)
    odd = replace(long, system="\x1b[31m\nQuarry " + "\u202e" * 300)
    told = replace(kinds.stranded(), machine="x" * 400, drift=Drift((odd,), (), ()))
    assert len(subject(told)) <= 150 and subject(told).isprintable()
    assert "\\x1b[31m" in subject(told)
