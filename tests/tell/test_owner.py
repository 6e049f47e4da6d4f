"""What owners read: plain words, the four answers, both languages, and nothing that leads into the dark."""

from __future__ import annotations

import datetime
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from bootwatch.addresses import Address
from bootwatch.model.alert import Kind
from bootwatch.model.care import UNKNOWN, Care
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell import library
from bootwatch.tell.delivery import Context, deliver
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.owner import OwnerText, owner_text
from bootwatch.tell.owner_answer import Answer, verdict
from bootwatch.tell.plain import columns
from tests.tell.owner_samples import (
    ANNA,
    FERNWICK_NEXT,
    NOTHING,
    QUARRY_NEXT,
    SETUP,
    TARN_NEXT,
    diverted,
    fernwick,
    lost,
    message,
    quarry,
    tarn,
)
from tests.tell.samples import HOSTILE, harmful

UTC = datetime.UTC
GERMAN = replace(ANNA, language="de", stick="der rote Stick in der Schublade")
TOLD = (Told("workshop", "technician", "2026-11-25T07:13:00Z"),)
# DESIGN's vocabulary but for "system", and other words of the trade, in both languages.
FORBIDDEN = re.compile(
    r"\b(machine|entry|entries|loader|boot\w*|volume|partition|snapshot|baseline|drift|route|rehears\w*|finding|"
    r"gap|alert|spare|recovery|kit|ESP|EFI|UEFI|firmware|level|stranded|diverted|weakened|changed|routine|episode|"
    r"Maschine|Eintrag|Einträge|\w*lader|\w*volume|Datenträger|\w*schnappschuss|Momentaufnahme|Ausgangsstand|"
    r"Abweichung|Befund|Lücke|Alarm|Ersatz\w*|Rettung\w*|Stufe|gestrandet|umgeleitet|geschwächt|geändert)s?\b",
    re.IGNORECASE,
)
IDENTIFIER = re.compile(
    r"Boot[0-9A-F]{4}|\\|\b[gm]pt:|\b(?=\d*[a-f])(?=[a-f]*\d)[0-9a-f]{6}|\ba7\b|[a-z]+-[a-z]+:"
)
MAY_SWITCH_OFF = re.compile(r"may switch|dürfen (den Computer )?ausschalten")
AS_ALWAYS = re.compile(r"as always|wie immer")


def _text(given: Message, *told: Told) -> str:
    said = owner_text(given, told, UTC)
    return f"{said.title}\n{said.body}"


# every combination


def _any_messages(count: int) -> Iterator[Message]:
    """Mostly another start with a way back, and one or two things otherwise."""
    any_of = random.Random(6)

    def pick(usual: Any, *others: Any) -> Any:
        return usual if any_of.random() < 0.75 else any_of.choice(others)

    hows = ("by itself", "on request", "not at all", "not known")
    steps = {"Fernwick Linux": FERNWICK_NEXT, "Quarry": QUARRY_NEXT, "Tarn Rescue": TARN_NEXT}
    for _ in range(count):
        starts: str | None = pick("Quarry", "Fernwick Linux", "Tarn Rescue", None)
        label = pick("Fernwick Linux", "quarry")
        yield diverted(
            *(fernwick(pick(*hows), label), quarry(pick(*hows)), *pick((), (tarn(),))),
            following_step=steps[starts] if starts else any_of.choice((NOTHING, SETUP, QUARRY_NEXT)),
            starts=starts,
            expected=pick(False, True, None),
            certain=pick(True, False),
            candidates=any_of.choice(((), ("Fernwick Linux",), ("Quarry", "Quarry"), (None, "Quarry"))),
            still_open=pick(Level.DIVERTED, *Level, None),
            kind=pick(*Kind),
            care=any_of.choice(
                (ANNA, GERMAN, UNKNOWN, replace(ANNA, name=""), replace(GERMAN, phone="", stick=""))
            ),
            files_untouched=any_of.choice((True, False, None)),
            spoken=pick("FHY XXW QBWK", ""),
        )


@cache
def _samples() -> list[tuple[Message, OwnerText, str]]:
    made = [(given, owner_text(given, TOLD, UTC)) for given in _any_messages(200)]
    return [(given, said, f"{said.title}\n{said.body}") for given, said in made]


def test_no_word_of_the_trade_no_identifier_no_level() -> None:
    for _, _, text in _samples():
        assert not FORBIDDEN.search(text) and not IDENTIFIER.search(text), text
        assert text.endswith(".\n") and all(columns(line) <= 74 for line in text.splitlines()), text


def test_nobody_is_led_into_the_dark() -> None:
    assert {said.answer for _, said, _ in _samples()} == set(Answer)
    for given, said, text in _samples():
        verdicts = {one["starts"] for one in given.routes["systems"] if not one["removable"]}
        is_open = given.still_open not in (None, Level.ROUTINE)
        if is_open and verdicts != {True}:
            assert said.answer in (Answer.CALL, Answer.STICK)
        assert bool(MAY_SWITCH_OFF.search(text)) == (said.answer is Answer.GET_BACK)
        if said.answer is Answer.GET_BACK:
            assert verdicts == {True} and given.care.menu_key in text
            _check_label(given, text)
        if AS_ALWAYS.search(text):
            assert verdicts == {True} and said.answer is Answer.NOTHING


def test_files_are_untouched_only_where_that_was_computed() -> None:
    for given, _, text in _samples():
        assert bool(re.search("files are not|Dateien sind", text)) == (given.files_untouched is True)


def _check_label(given: Message, text: str) -> None:
    """Every line of the firmware's menu that looks like the one to choose starts what was promised."""
    found = verdict(given)
    lines = [one for one in given.routes["routes"] if one["label"].strip().lower() == found.label.lower()]
    assert lines and all(one["starts"] and one["system"] == found.usual for one in lines)
    assert re.search(f'["„]{found.label}["“]', text)


# what stands in it


def test_who_to_call_and_what_to_read_out() -> None:
    said = owner_text(message(Level.STRANDED, fernwick(), quarry("not at all")), TOLD, UTC)
    assert said.title == "Leave the computer switched on and call Anna"
    assert "call Anna, 01234 567890." in said.body
    assert "If the computer were switched off now, Quarry would not start any more." in said.body
    assert "please read out these letters: FHY XXW QBWK\n" in said.body


def test_the_way_back() -> None:
    body = " ".join(owner_text(diverted(), (), UTC).body.split())
    assert "You may switch the computer off. But when you switch it on again, Quarry will start" in body
    assert (
        'press the key F9 again and again until a list appears. In that list choose the line "Fernwick'
        in body
    )


def test_the_same_in_german() -> None:
    said = owner_text(diverted(care=GERMAN), TOLD, UTC)
    body = " ".join(said.body.split())
    assert said.title == "Sie dürfen ausschalten, aber danach startet Quarry"
    assert "Wählen Sie darin mit den Pfeiltasten die Zeile „Fernwick Linux“" in body
    assert "am Mittwoch, dem 25. November, um 7:13 Uhr (Weltzeit)" in body


def test_the_stick() -> None:
    nothing: dict[str, Any] = {"following_step": NOTHING, "starts": None}
    said = owner_text(message(Level.STRANDED, fernwick("not at all"), **nothing), (), UTC)
    assert said.title == "Plug in the stick and call Anna"
    assert "Please plug in the USB stick that is meant for this: the red stick in the" in said.body
    there = message(Level.STRANDED, fernwick("not at all"), tarn(), care=replace(ANNA, stick=""), **nothing)
    assert "Please leave the USB stick with Tarn Rescue plugged in." in owner_text(there, (), UTC).body


def test_systems_as_the_owner_calls_them() -> None:
    care = replace(ANNA, called={"Quarry": "the games", "Fernwick Linux": "the desktop"})
    text = _text(diverted(care=care))
    assert "but the games will start next" in text and "instead of the desktop" in text
    assert 'line "Fernwick\nLinux"' in text or 'line "Fernwick Linux"' in text


def test_a_name_that_is_none_for_people() -> None:
    odd = {**quarry("not at all"), "name": "the system on gpt:6d0a41be"}
    text = " ".join(_text(message(Level.STRANDED, fernwick(), odd)).split())
    assert "one of the systems would not start any more" in text


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ((), "Whether Anna knows of it already is not certain."),
        (TOLD, "Anna knows of it: Anna was told on Wednesday, 25 November, at 7:13 (world time)."),
        ((Told("desk", "owner", TOLD[0].time),), "Whether Anna knows of it already is not certain."),
        ((Told("x", "technician", "soon"),), "Whether Anna knows of it already is not certain."),
        (
            (Told("x", "technician", "9999-12-31T23:59:59Z"),),
            "Whether Anna knows of it already is not certain.",
        ),
        # Of an earlier stage: what is news now wasn't known then.
        (
            (Told("x", "technician", "2026-11-25T07:12:04Z"),),
            "Whether Anna knows of it already is not certain.",
        ),
    ],
)
def test_who_knows(told: tuple[Told, ...], said: str) -> None:
    body = owner_text(message(Level.STRANDED), told, UTC).body
    assert said in " ".join(body.split())


def test_where_nothing_is_to_be_done_somebody_else_should_know() -> None:
    said = " ".join(owner_text(message(Level.WEAKENED), (), UTC).body.split())
    assert "nothing for you to do: you can use the computer as always. Anna should soon have a look" in said
    assert (
        "Anna should hear of it from this computer. If Anna is silent for a week, please call Anna, 01"
        in said
    )


def test_a_reminder_says_that_it_is_still_so() -> None:
    said = owner_text(message(Level.STRANDED, kind=Kind.REMINDER), TOLD, UTC)
    assert said.title == "Still: Leave the computer switched on and call Anna"
    assert "what you were told earlier is still so" in said.body and "Anna was told on" in said.body


def test_over() -> None:
    over = message(None, kind=Kind.ALL_CLEAR, is_over=Level.STRANDED)
    assert owner_text(over).title == "All is well with the computer again"
    part = message(Level.STRANDED, fernwick(), quarry("not at all"), kind=Kind.ALL_CLEAR)
    said = owner_text(part)
    assert said.title == "Still: Leave the computer switched on and call Anna"
    assert "Part of what you were told is over, but not all of it." in said.body
    assert "All is well" not in said.title + said.body
    less = owner_text(message(Level.WEAKENED, kind=Kind.ALL_CLEAR, is_over=Level.STRANDED))
    assert less.title == "There is nothing for you to do any more"
    assert "you can use the computer as always" in less.body


def test_not_as_always_where_one_was_lost_before() -> None:
    given = message(Level.WEAKENED, fernwick(), quarry("not at all"), findings=(lost(),))
    said = owner_text(given)
    assert said.answer is Answer.NOTHING and "as always" not in said.body
    assert "As before, Fernwick Linux starts." in " ".join(said.body.split())


def test_the_reader_s_own_time() -> None:
    zone = datetime.timezone(datetime.timedelta(hours=1), "CET")
    body = owner_text(message(Level.STRANDED), TOLD, zone).body
    assert "on Wednesday, 25 November, at 8:13." in body


@pytest.mark.parametrize(
    "care", [UNKNOWN, Care(phone="01234 567890"), Care(name="Anna"), Care(language="de")]
)
@pytest.mark.parametrize("level", [Level.STRANDED, Level.WEAKENED])
def test_still_useful_where_little_is_known(care: Care, level: Level) -> None:
    text = _text(message(level, care=care))
    assert "{" not in text and " ," not in text and ": ." not in text
    whom = care.name or care.phone
    assert (whom in text) if whom else re.search("somebody|whoever|jemand", text, re.IGNORECASE)


@pytest.mark.parametrize("language", ["en", "de", "xx", "../de", ""])
def test_hostile_text_stays_harmless(language: str) -> None:
    care = Care(HOSTILE, HOSTILE, HOSTILE, HOSTILE, language, {"Quarry": HOSTILE})
    for label in (HOSTILE, "{0.__class__}", "Fernwick Linux"):
        hostile = {**quarry("not at all"), "name": HOSTILE}
        for given in (
            diverted(fernwick(label=label), quarry(), care=care, machine=HOSTILE, spoken=HOSTILE),
            message(Level.STRANDED, fernwick(), hostile, care=care, machine="{x}"),
        ):
            said = owner_text(given, [Told(HOSTILE, "technician", HOSTILE)])
            assert not harmful(said.title + said.body) and "\n" not in said.title
            assert not any(line.startswith("Bcc:") for line in said.body.splitlines())


def test_an_unknown_language_is_english() -> None:
    assert "Please leave" in _text(message(Level.STRANDED, care=replace(ANNA, language="xx")))


# delivery


def test_an_owner_s_address_gets_the_owner_s_words(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[tuple[Any, ...]] = []

    def note(*given: Any) -> Outcome:
        sent.append(given)
        return Outcome.delivered()

    monkeypatch.setattr(library, "deliver", note)
    address = Address("desk", Level.CHANGED, "owner", "json://localhost")
    given = message(Level.STRANDED, fernwick(), quarry("not at all"))
    assert deliver(address, given, Line(), Context(TOLD)) == Outcome.delivered()
    ((_, subject, body, _),) = sent
    assert subject == "reading-room-3: Leave the computer switched on and call Anna"
    assert body == owner_text(given, TOLD).body and "Anna knows of it" in body
