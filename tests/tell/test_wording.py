"""The message as a technician reads it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.judge.meanings import CHANGES
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.tell.plain import columns
from bootwatch.tell.wording import body, subject
from tests.tell.samples import (
    DRIFT,
    ENTRY_MISSING,
    LOADER_MISSING,
    ORDER_CHANGED,
    SEED_CHANGED,
    change,
    harmful,
    hostile_drift,
    message,
)

ESCAPE = "\x1b[31m"


def _only(*changes: object) -> Drift:
    return Drift(changes, (), ())  # type: ignore[arg-type]


def test_the_subject_says_which_system_of_which_machine_and_what() -> None:
    assert subject(message()) == "reading-room-3: Fernwick Linux weakened (entry missing, loader missing)"
    two = _only(ENTRY_MISSING, replace(LOADER_MISSING, system="Quarry"))
    assert subject(message(two)) == (
        "reading-room-3: Fernwick Linux and Quarry weakened (entry missing, loader missing)"
    )
    assert subject(message(_only(ORDER_CHANGED))) == "reading-room-3: its start changed (order changed)"


def test_the_subject_is_about_what_is_new() -> None:
    assert subject(message(news=(ORDER_CHANGED.id,))) == "reading-room-3: its start changed (order changed)"


def test_the_message_in_its_order() -> None:
    text = body(message(news=(ENTRY_MISSING.id, LOADER_MISSING.id)))
    places = [
        text.index(part)
        for part in (
            "On reading-room-3 a way of starting Fernwick Linux",
            'The entry "Fernwick Linux" is gone',
            "The loader \\EFI\\fernwick\\loaderx64.efi is gone",
            "SINCE WHEN",
            "between snapshot 4 and snapshot 5; who had the machine then is",
            "Snapshot 5 was taken after a start, 2026-11-25 07:12 UTC",
            "WHAT TO DO WHILE THE MACHINE STILL RUNS",
            "TAKE CARE",
            "ALSO WRONG",
            "STILL OPEN FROM EARLIER MESSAGES",
            "The firmware tries its entries in another order.",
            "COULD NOT BE READ",
            "entry-missing:7c1e",
            "On the machine:",
        )
    ]
    assert places == sorted(places)
    assert SEED_CHANGED.id not in text


def test_advice_and_cautions_come_once() -> None:
    twice = _only(
        ENTRY_MISSING, replace(ENTRY_MISSING, id="entry-missing:99", what='the entry "B"'), ORDER_CHANGED
    )
    text = " ".join(body(message(twice)).split())
    assert text.count("boot-loader installer of Fernwick Linux") == 1
    assert text.count("recovery-key prompt") == 1


@pytest.mark.parametrize("drift", [DRIFT, hostile_drift()], ids=["usual", "hostile"])
def test_lines_keep_to_their_width(drift: Drift) -> None:
    assert max(columns(line) for line in body(message(drift)).splitlines()) <= 74


def test_hostile_text_is_harmless() -> None:
    hostile = replace(message(hostile_drift()), machine=ESCAPE, moment=ESCAPE, baseline_reason=ESCAPE)
    assert not harmful(body(hostile)) and not harmful(subject(hostile))
    assert "\n" not in subject(hostile) and "\nBcc" not in body(hostile)


@pytest.mark.parametrize("name", CHANGES)
@pytest.mark.parametrize("level", Level)
def test_every_change_at_every_level_has_its_words(name: str, level: Level) -> None:
    one = change(name, level, "Fernwick Linux", "the thing")
    text = body(message(_only(one)))
    assert text.startswith(("On reading", "At the", "Something", "Fernwick")) and "{" not in text
    assert subject(message(_only(one))).startswith("reading-room-3: Fernwick Linux ")


def test_a_long_list_is_cut_and_says_so() -> None:
    many = _only(
        *(replace(ENTRY_MISSING, id=f"entry-missing:{number:04x}") for number in range(40)), SEED_CHANGED
    )
    text = body(message(many))
    assert text.count("is gone from the firmware.") == 12
    assert "and 29 more changes: see bootwatch drift" in text


def test_names_with_braces_stay_as_they_are() -> None:
    odd = _only(replace(ENTRY_MISSING, system="{machine} {0}", what="{system}"))
    assert "a way of starting {machine} {0}" in body(message(odd))
