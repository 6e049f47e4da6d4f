"""Which of the four answers an owner gets. What isn't known leads to "leave it on and call"."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.care import UNKNOWN
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.owner_answer import Answer, Why, verdict
from tests.tell import samples
from tests.tell.owner_samples import (
    ANNA,
    NOTHING,
    QUARRY_NEXT,
    SETUP,
    TARN_NEXT,
    diverted,
    fernwick,
    lost,
    message,
    put_there,
    quarry,
    tarn,
)
from tests.tell.route_samples import OTHER, QUARRY, route, system

WEAKENED = Level.WEAKENED
FILE_GONE = samples.change("file-missing", WEAKENED, "Quarry", "the file \\EFI\\quarry\\store")
SECURE = ("Secure Boot is on; whether it allows a loader is not looked at yet.",)
SWITCHED_ON = samples.change("secure-boot-switched", WEAKENED, None, "Secure Boot", "off", "on")
ORDER = samples.change("order-changed", WEAKENED, None, "the boot order")
ON_REQUEST = quarry("on request")
FROM_STICK: dict[str, Any] = {"following_step": TARN_NEXT, "starts": "Tarn Rescue"}
NO_KEY = replace(ANNA, menu_key="")
NO_STICK = replace(ANNA, stick="")


def _twin(label: str, **other: Any) -> dict[str, Any]:
    """Another line of the firmware's menu."""
    return system("Old", route("Boot0009", label, "\\EFI\\old\\x.efi", OTHER, system="Old", **other))


def _menu_leads(through: str) -> dict[str, Any]:
    way = route("Boot0000", "Fernwick Linux", QUARRY, OTHER, by="menu", through=through, system="Quarry")
    return system("Quarry", route("Boot0001", "Quarry", QUARRY, OTHER, system="Quarry"), way)


CASES: dict[str, tuple[Message, Answer, Why]] = {
    # Both start by themselves, and the usual one next.
    "a way less": (message(WEAKENED), Answer.NOTHING, Why.LESS),
    "worth knowing": (message(Level.CHANGED), Answer.NOTHING, Why.LESS),
    "nothing open": (message(None), Answer.NOTHING, Why.AS_BEFORE),
    "all over": (message(None, kind=Kind.ALL_CLEAR, is_over=Level.STRANDED), Answer.NOTHING, Why.AS_BEFORE),
    "over, and another one starts": (
        message(None, following_step=QUARRY_NEXT, starts="Quarry", expected=False, kind=Kind.ALL_CLEAR),
        Answer.NOTHING,
        Why.NOT_OPEN,
    ),
    "the running one, where none was certain": (message(WEAKENED, expected=None), Answer.NOTHING, Why.LESS),
    # One does not start.
    "a lost system": (message(Level.STRANDED, fernwick(), quarry("not at all")), Answer.CALL, Why.LOST),
    "said to be lost, with a way left": (message(Level.STRANDED), Answer.CALL, Why.DOUBTFUL),
    "lost, though it is said to be less": (
        message(WEAKENED, fernwick(), quarry("not at all")),
        Answer.CALL,
        Why.LOST,
    ),
    "lost since the machine was called good": (
        message(WEAKENED, fernwick(), quarry("not at all"), findings=(lost(),)),
        Answer.NOTHING,
        Why.LESS,
    ),
    "the running one is lost": (
        diverted(fernwick("not at all"), quarry(), still_open=Level.STRANDED),
        Answer.CALL,
        Why.LOST,
    ),
    "another one starts, a third is lost": (
        diverted(fernwick(), quarry(), system("Third", how="not at all")),
        Answer.CALL,
        Why.LOST,
    ),
    "part is over": (
        message(Level.STRANDED, fernwick(), quarry("not at all"), kind=Kind.ALL_CLEAR),
        Answer.CALL,
        Why.LOST,
    ),
    # Not known.
    "no routes": (message(WEAKENED, routes={}), Answer.CALL, Why.UNKNOWN),
    "no systems": (
        message(WEAKENED, routes={"next_start": NOTHING | {"certain": True}}),
        Answer.CALL,
        Why.UNKNOWN,
    ),
    "one is not known": (message(WEAKENED, fernwick(), quarry("not known")), Answer.CALL, Why.DOUBTFUL),
    "either may start": (
        message(WEAKENED, certain=False, candidates=("Fernwick Linux", "Quarry")),
        Answer.CALL,
        Why.UNKNOWN,
    ),
    "either of two copies": (
        message(WEAKENED, certain=False, candidates=("Fernwick Linux", "Fernwick Linux")),
        Answer.NOTHING,
        Why.LESS,
    ),
    "it or nothing": (
        message(WEAKENED, certain=False, candidates=("Fernwick Linux", None)),
        Answer.CALL,
        Why.UNKNOWN,
    ),
    "a program of nobody": (diverted(starts=None), Answer.CALL, Why.UNKNOWN),
    "the firmware's setup": (message(WEAKENED, following_step=SETUP, starts=None), Answer.CALL, Why.UNKNOWN),
    "another one, and nobody says since when": (
        message(WEAKENED, following_step=QUARRY_NEXT, starts="Quarry", expected=False),
        Answer.CALL,
        Why.UNKNOWN,
    ),
    "this once as usual, then another one": (message(Level.DIVERTED), Answer.CALL, Why.UNKNOWN),
    "too many systems to see": (
        message(WEAKENED, routes=message(WEAKENED).routes | {"more": {"systems": 1, "routes": 0}}),
        Answer.CALL,
        Why.UNKNOWN,
    ),
    "a file that it may need": (message(WEAKENED, changes=(FILE_GONE,)), Answer.CALL, Why.DOUBTFUL),
    "a file, and its kernel is there": (
        message(WEAKENED, fernwick(), quarry(followed_to="kernel"), changes=(FILE_GONE,)),
        Answer.NOTHING,
        Why.LESS,
    ),
    "Secure Boot came on": (
        message(WEAKENED, changes=(SWITCHED_ON,), cautions=SECURE),
        Answer.CALL,
        Why.DOUBTFUL,
    ),
    "Secure Boot went off": (message(WEAKENED, changes=(SWITCHED_ON,)), Answer.NOTHING, Why.LESS),
    "only when chosen, and that is new": (
        message(WEAKENED, fernwick(), ON_REQUEST, changes=(replace(FILE_GONE, change="entry-missing"),)),
        Answer.CALL,
        Why.ONLY_CHOSEN,
    ),
    "only when chosen, as ever": (message(WEAKENED, fernwick(), ON_REQUEST), Answer.NOTHING, Why.LESS),
    # Nothing would start by itself.
    "nothing": (
        message(Level.STRANDED, fernwick("not at all"), following_step=NOTHING, starts=None),
        Answer.STICK,
        Why.NONE_STARTS,
    ),
    "nothing, and no stick": (
        message(Level.STRANDED, fernwick("not at all"), following_step=NOTHING, starts=None, care=NO_STICK),
        Answer.CALL,
        Why.NONE_STARTS,
    ),
    "perhaps nothing": (
        message(Level.STRANDED, fernwick("not known"), following_step=NOTHING, starts=None, certain=False),
        Answer.STICK,
        Why.NONE_MAY_START,
    ),
    "nothing but the stick that is plugged in": (
        diverted(fernwick("not at all"), tarn(), **FROM_STICK, care=NO_STICK),
        Answer.STICK,
        Why.NONE_STARTS,
    ),
    "nothing, though all is over": (
        message(None, fernwick("not at all"), following_step=NOTHING, starts=None, kind=Kind.ALL_CLEAR),
        Answer.STICK,
        Why.NONE_STARTS,
    ),
    # Another one than usual, with a way back.
    "another one": (diverted(), Answer.GET_BACK, Why.INSTEAD),
    "a reminder of it": (diverted(kind=Kind.REMINDER), Answer.GET_BACK, Why.INSTEAD),
    "its menu leads to the other one": (
        diverted(fernwick(), _menu_leads("Fernwick Linux")),
        Answer.GET_BACK,
        Why.INSTEAD,
    ),
    "a line that looks like the other one's": (
        diverted(fernwick(label="quarry "), quarry()),
        Answer.CALL,
        Why.INSTEAD,
    ),
    "no key": (diverted(care=NO_KEY), Answer.CALL, Why.INSTEAD),
    "nobody named": (diverted(care=UNKNOWN), Answer.CALL, Why.INSTEAD),
    "from a stick": (
        diverted(fernwick(), quarry(), tarn(), **FROM_STICK),
        Answer.CALL,
        Why.INSTEAD,
    ),
    "by what was put there": (diverted(changes=(put_there(),)), Answer.CALL, Why.INSTEAD),
    "by what was replaced": (diverted(changes=(put_there("loader-changed"),)), Answer.CALL, Why.INSTEAD),
    "by what its own update brought": (
        diverted(changes=(*diverted().drift.changes, replace(put_there(), level=Level.ROUTINE))),
        Answer.GET_BACK,
        Why.INSTEAD,
    ),
    "one more choice is needed": (diverted(fernwick(unattended=False), quarry()), Answer.CALL, Why.INSTEAD),
    "the line may not be shown": (diverted(fernwick(by="choice"), quarry()), Answer.CALL, Why.INSTEAD),
    "a broken line that looks the same": (
        diverted(fernwick(), quarry(), _twin("fernwick linux ", starts=False)),
        Answer.CALL,
        Why.INSTEAD,
    ),
    "the usual one is not told": (
        diverted(changes=(replace(ORDER, level=Level.DIVERTED),)),
        Answer.CALL,
        Why.UNKNOWN,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_answer(name: str) -> None:
    given, answer, why = CASES[name]
    found = verdict(given)
    assert (found.answer, found.why) == (answer, why)


@pytest.mark.parametrize(
    "label",
    [
        "",
        " ",
        "\x1b[2J",
        "Fern\u202ewick",
        'Fernwick" and type',
        "F\u200bernwick",
        "---",
        "F" * 41,
        "Fern\nwick",
    ],
)
def test_a_line_that_nobody_would_find_is_offered_to_nobody(label: str) -> None:
    found = verdict(diverted(fernwick(label=label), quarry()))
    assert (found.answer, found.label) == (Answer.CALL, "")


def test_the_line_that_started_it_before_is_preferred() -> None:
    proven = route("Boot0002", "UEFI Hall Disk", "\\EFI\\BOOT\\BOOTX64.EFI", proven={"snapshot": 3})
    both = {**fernwick(), "routes": [*fernwick()["routes"], proven]}
    assert verdict(diverted()).label == "Fernwick Linux"
    assert verdict(diverted(both, quarry())).label == "UEFI Hall Disk"


def test_what_is_lost_or_doubtful_is_named() -> None:
    found = verdict(message(Level.STRANDED, fernwick(), quarry("not at all"), findings=(lost(),)))
    assert (found.why, found.systems) == (Why.LOST, ("Quarry",))
    found = verdict(message(Level.STRANDED, findings=(lost(),)))
    assert (found.why, found.systems) == (Why.DOUBTFUL, ("Quarry",))
