"""What something newer makes needless."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.addresses import Address
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.obsolete import REMINDER, SIGN, obsolete
from tests.tell.samples import message

ANNA = Address("Anna", Level.WEAKENED, "technician", "x://anna", sign_of_life=True)


def _message(kind: Kind, level: Level = Level.WEAKENED, alert: str = "u") -> Message:
    if kind is Kind.SIGN_OF_LIFE:
        return replace(message(), kind=kind)
    return replace(message(), kind=kind, alert=alert, is_over=level, still_open=level)


@pytest.mark.parametrize(
    ("kind", "later", "why"),
    [
        (Kind.SIGN_OF_LIFE, [], ""),
        (Kind.SIGN_OF_LIFE, [_message(Kind.SIGN_OF_LIFE)], SIGN),
        (Kind.SIGN_OF_LIFE, [_message(Kind.NEWS)], SIGN),
        # Not wanted here, so it carries nothing here.
        (Kind.SIGN_OF_LIFE, [_message(Kind.REMINDER, Level.CHANGED)], ""),
        (Kind.REMINDER, [], ""),
        (Kind.REMINDER, [_message(Kind.REMINDER)], REMINDER),
        (Kind.REMINDER, [replace(_message(Kind.ALL_CLEAR), still_open=None)], REMINDER),
        (Kind.REMINDER, [_message(Kind.REMINDER, alert="another")], ""),
        (Kind.REMINDER, [_message(Kind.SIGN_OF_LIFE)], ""),
        (Kind.NEWS, [_message(Kind.NEWS), replace(_message(Kind.ALL_CLEAR), still_open=None)], ""),
        (Kind.ALL_CLEAR, [_message(Kind.NEWS, alert="another")], ""),
    ],
)
def test_only_what_just_says_how_things_stand_gives_way(kind: Kind, later: list[Message], why: str) -> None:
    assert obsolete(ANNA, _message(kind), later) == why
