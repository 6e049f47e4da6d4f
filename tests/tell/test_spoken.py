"""The code that is read out over the phone."""

from __future__ import annotations

import datetime
import hashlib
import itertools
import random
from dataclasses import replace
from typing import Any

import pytest

from bootwatch.judge.meanings import MEANINGS
from bootwatch.model.change import Drift
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.model.spoken import NAMES, Following, Kit, Spoken, Standing
from bootwatch.problem import UsageProblem
from bootwatch.tell.spoken import ALPHABET, DAYS, decode, encode, spoken
from bootwatch.tell.spoken_words import age_in_days, lines
from tests.tell.samples import DRIFT, NO_WAY, QUIET, SEED_CHANGED

SAID = Spoken(Standing.DIVERTED, "F", Following.SYSTEM, "Q", "order-changed", 17)
CODE = "FWK QKB FWRF"


def test_a_code_is_its_number_in_base_11_and_a_check_letter() -> None:
    # Standing, system, next start, name, kit, day, each with its room.
    number = ((((2 * 28 + 6) * 58 + 16) * 96 + 8) * 6 + 0) * 181 + 17
    letters = CODE.replace(" ", "")
    assert sum(11 ** (8 - place) * "BFHKLMQRWXY".index(letters[place]) for place in range(9)) == number
    assert sum(place * "BFHKLMQRWXY".index(letters[place - 1]) for place in range(1, 11)) % 11 == 0
    assert encode(SAID) == CODE and decode(CODE) == SAID


@pytest.mark.parametrize("code", [CODE.lower(), CODE.replace(" ", "-"), CODE.replace(" ", ""), f" {CODE}  "])
def test_capitals_blanks_and_hyphens_do_not_matter(code: str) -> None:
    assert decode(code) == SAID


def test_a_word_for_each_letter_will_do() -> None:
    words = {
        "B": "Bravo",
        "F": "Foxtrot",
        "K": "Kilo",
        "L": "Lima",
        "Q": "Quebec",
        "R": "Romeo",
        "W": "Whisky",
    }
    words["Y"] = "Y"
    assert decode(" ".join(words[letter] for letter in CODE.replace(" ", ""))) == SAID


def _samples() -> list[Spoken]:
    """All that a code can say of each field, the other fields at random (from a fixed seed)."""
    chance = random.Random(6)
    letters = ["", "?", *"ABCDEFGHIJKLMNOPQRSTUVWXYZ"]
    whole = max(len(NAMES) + 1, len(letters))
    made = []
    for turn in range(whole):
        following = list(Following)[turn % 6]
        is_system = following in (Following.SYSTEM, Following.LIKELY_SYSTEM)
        made.append(
            Spoken(
                list(Standing)[turn % 7],
                letters[turn % len(letters)],
                following,
                chance.choice(letters[1:]) if is_system else "",
                ["", *NAMES][turn % (len(NAMES) + 1)],
                chance.choice([None, 0, DAYS - 1, chance.randrange(DAYS)]),
                list(Kit)[turn % len(Kit)],
            )
        )
    return made


def test_what_was_encoded_is_decoded() -> None:
    samples = _samples()
    assert [decode(encode(said)) for said in samples] == samples


def test_one_wrong_letter_and_any_two_swapped_are_always_noticed() -> None:
    tried = 0
    for code in (encode(said).replace(" ", "") for said in _samples()):
        wrong = [code[:at] + letter + code[at + 1 :] for at in range(10) for letter in ALPHABET]
        for one, other in itertools.combinations(range(10), 2):
            swapped = list(code)
            swapped[one], swapped[other] = code[other], code[one]
            wrong.append("".join(swapped))
        for misheard in set(wrong) - {code}:
            with pytest.raises(UsageProblem, match="misheard"):
                decode(misheard)
            tried += 1
    assert tried > 5000


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (CODE[:-1], "A code has 10 letters, and this has 9."),
        (f"{CODE}B", "A code has 10 letters, and this has 11."),
        ("PWK QKB FWRF", 'Codes have no "P". Was it B?'),
        ("FWK QKB FWR5", 'Codes have no "5".'),
        ("\x1b[2J", 'Codes have no "\\x1b".'),
        ("BF FH K L M Q R W X Y", "A code has 10 letters, and this has 12."),
        ("YYY YYY YYYY", "The code comes from a later version of bootwatch, or was misheard more than once."),
    ],
)
def test_what_is_no_code(code: str, said: str) -> None:
    with pytest.raises(UsageProblem) as caught:
        decode(code)
    assert caught.value.message == said
    assert "letter by letter" in caught.value.hint


def test_each_name_has_a_number_that_never_changes() -> None:
    assert set(MEANINGS) <= set(NAMES), "add new names at the end of model/spoken.NAMES"
    assert len(set(NAMES)) == len(NAMES) < 96
    first = hashlib.sha256(" ".join(NAMES[:44]).encode()).hexdigest()
    assert first == "180137f6269b8056d7f8857349c340ef9ea2c41e82925c1863e16ea2bdb75802"


# from what was found

NEXT = {
    "by": "BootOrder", "entry": "Boot0001", "file": "\\EFI\\quarry\\startx64.efi", "certain": True,
    "candidates": [], "outcome": "starts", "why": "", "system": "Quarry",
}  # fmt: skip
EITHER = [{"by": "BootOrder", "entry": "Boot0001", "system": name} for name in ("Quarry", "Fernwick Linux")]
DAY = datetime.date(2026, 11, 25)


def _routes(time: str = "2026-11-25T07:12:05Z", **following: Any) -> dict[str, Any]:
    return {"time": time, "next_start": {**NEXT, **following}}


def test_the_gravest_comes_into_the_code() -> None:
    said = decode(spoken(replace(DRIFT, findings=(*DRIFT.findings, NO_WAY)), _routes()))
    day = DAY.toordinal() % DAYS
    assert said == Spoken(Standing.STRANDED, "F", Following.SYSTEM, "Q", "no-way-left", day)


UNSEEN = replace(NO_WAY, finding="unseen", level=Level.CHANGED, system=None)
BLIND = Gap("variables", "*", Reason.DENIED, "")


@pytest.mark.parametrize(
    ("drift", "compared", "standing", "name"),
    [
        (DRIFT, True, Standing.WEAKENED, "entry-missing"),
        (QUIET, True, Standing.QUIET, ""),
        (Drift((SEED_CHANGED,), (), ()), True, Standing.QUIET, ""),
        (Drift((), (UNSEEN,), ()), True, Standing.UNTOLD, "unseen"),
        (Drift((), (), (BLIND,)), True, Standing.UNTOLD, ""),
        (None, True, Standing.NO_BASELINE, ""),
        (None, False, Standing.UNTOLD, ""),
    ],
)
def test_how_the_machine_stands(drift: Drift | None, compared: bool, standing: Standing, name: str) -> None:
    said = decode(spoken(drift, _routes(), compared=compared))
    assert (said.standing, said.name) == (standing, name)


@pytest.mark.parametrize(
    ("following", "said"),
    [
        ({}, "the system whose name begins with Q"),
        ({"system": "\u00c4sche"}, "the system whose name begins with A"),
        ({"system": "7 hills"}, "the system whose name begins with none of the letters A to Z"),
        ({"certain": False, "outcome": "unknown"}, "probably the system whose name begins with Q"),
        ({"certain": False, "candidates": EITHER[:1]}, "the system whose name begins with Q"),
        ({"certain": False, "candidates": EITHER}, "not known"),
        ({"system": None}, "a program that belongs to no known system"),
        ({"by": "setup", "system": None, "file": None}, "the firmware's own setup"),
        ({"by": "nothing", "system": None, "file": None, "outcome": "passed"}, "nothing"),
        ({"outcome": "unknown", "system": None, "file": None, "certain": False}, "not known"),
    ],
)
def test_what_starts_next(following: dict[str, Any], said: str) -> None:
    assert lines(decode(spoken(QUIET, _routes(**following))), DAY, "")[2] == f"next start: {said}"


@pytest.mark.parametrize(
    ("days", "age", "said"),
    [
        (0, 0, "today, 2026-11-25 by that machine's clock"),
        (1, 1, "yesterday, 2026-11-25 by that machine's clock"),
        (178, 178, "178 days ago, 2026-11-25 by that machine's clock"),
        (-1, -1, "tomorrow (one of the two clocks is wrong), 2026-11-25 by that machine's clock"),
    ],
)
def test_a_static_code_stays_true(days: int, age: int, said: str) -> None:
    heard = decode(spoken(QUIET, _routes()))
    today = DAY + datetime.timedelta(days=days)
    assert age_in_days(heard, today) == age
    assert lines(heard, today, "")[4] == f"last look: {said}"


def test_an_unknown_time_is_said() -> None:
    assert lines(decode(spoken(QUIET, _routes("long ago"))), DAY, "")[4] == "last look: at an unknown time"
