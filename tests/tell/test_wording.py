"""The message as a technician reads it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.addresses import Address
from bootwatch.judge.meanings import CHANGES, FINDINGS
from bootwatch.model.change import Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.delivery import skipped
from bootwatch.tell.plain import columns
from bootwatch.tell.wording import body, subject
from tests.tell import kinds
from tests.tell.samples import (
    DRIFT,
    ENTRY_MISSING,
    LOADER_MISSING,
    NO_WAY,
    ORDER_CHANGED,
    RULE,
    SEED_CHANGED,
    STICK_FIRST,
    change,
    elsewhere,
    harmful,
    hostile_drift,
    message,
    update,
)

ESCAPE = "\x1b[31m"


def _only(*changes: object) -> Drift:
    return Drift(changes, (), ())  # type: ignore[arg-type]


def test_the_message_in_its_order() -> None:
    text = body(message(news=(ENTRY_MISSING.id, LOADER_MISSING.id)))
    places = [
        text.index(part)
        for part in (
            "On reading-room-3 a safeguard of how Fernwick Linux",
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
            "ON THE MACHINE",
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
    said = subject(message(_only(one)))
    assert said.startswith("reading-room-3: ") and "{" not in said
    assert "Fernwick Linux" in said or level is Level.ROUTINE


def test_a_long_list_is_cut_and_says_so() -> None:
    many = _only(
        *(replace(ENTRY_MISSING, id=f"entry-missing:{number:04x}") for number in range(40)), SEED_CHANGED
    )
    text = body(message(many))
    assert text.count("is gone from the firmware.") == 12
    assert "and 29 more changes: see bootwatch drift" in text


def test_names_with_braces_stay_as_they_are() -> None:
    odd = _only(replace(ENTRY_MISSING, system="{machine} {0}", what="{system}"))
    assert "how {machine} {0} would start" in " ".join(body(message(odd)).split())


def test_what_is_known_is_said_once_and_which_change_it_belongs_to() -> None:
    one_time = _only(elsewhere(ENTRY_MISSING), elsewhere(ORDER_CHANGED))
    text = body(message(one_time))
    assert text.count("The TPM counted 2 starts that this system did not see.") == 1
    assert "\nIt happened between snapshot 4 and snapshot 5, while another" in text
    two = _only(
        elsewhere(ENTRY_MISSING), replace(LOADER_MISSING, between=(None, 3)), elsewhere(ORDER_CHANGED)
    )
    said = " ".join(body(message(two)).split())
    assert "For 1, 3: it happened between snapshot 4 and snapshot 5, while another" in said
    assert "For 2: it happened before snapshot 3" in said
    assert said.count("Nothing more is known of that time.") == 1


def test_what_a_rule_expects_is_one_closing_line() -> None:
    text = body(message(_only(ENTRY_MISSING, *update()), news=(ENTRY_MISSING.id,)))
    assert text.split("\n\n")[-3] == "Besides, 12 changes are accepted by rule, as expected."
    assert RULE not in text and "file-changed" not in text
    assert "accepted" not in body(message(_only(ENTRY_MISSING)))


def test_a_message_of_a_finding_alone_reads_right() -> None:
    alone = message(Drift((SEED_CHANGED,), (DRIFT.findings[0], NO_WAY), ()), news=(NO_WAY.id,))
    assert subject(alone) == "reading-room-3: Fernwick Linux would not start (no way left)"
    text = body(alone)
    assert text.startswith("Fernwick Linux on reading-room-3 would not start at the next switch-on:")
    for absent in ("WHAT HAPPENED", "SINCE WHEN", "It happened", "STILL OPEN"):
        assert absent not in text
    parts = (
        "WRONG BY ITSELF, AND NEW",
        " 1. No way to start Fernwick Linux",
        "SEEN WHEN",
        "For 1: Leave the",
    )
    later = ("TAKE CARE", "ALSO WRONG", "The firmware tries a removable disk first", "IDENTIFIERS", NO_WAY.id)
    places = [text.index(part) for part in (*parts, *later)]
    assert places == sorted(places) and text.count("No way to start") == 1


def test_a_finding_that_keeps_nothing_from_starting_claims_no_loss() -> None:
    alone = message(Drift((), (STICK_FIRST,), ()), news=(STICK_FIRST.id,))
    assert subject(alone) == (
        'reading-room-3: the firmware tries a removable disk first, through the entry "Stick" (needs a look)'
    )
    lead = " ".join(body(alone).partition("\n\n")[0].split())
    assert "needs a look" in lead and "gone" not in lead


def test_changes_lead_where_a_finding_of_their_level_is_new_too() -> None:
    both = message(Drift((ENTRY_MISSING,), (STICK_FIRST,), ()), news=(ENTRY_MISSING.id, STICK_FIRST.id))
    assert subject(both).startswith('reading-room-3: the entry "Fernwick Linux" is gone')
    text = body(both)
    assert text.index(' 1. The entry "Fernwick Linux" is gone') < text.index(
        " 2. The firmware tries a removable"
    )
    assert "For 2: Take the disk out" in text and "ALSO WRONG" not in text


def test_a_finding_that_is_worse_than_the_changes_comes_first() -> None:
    both = message(Drift((ENTRY_MISSING,), (NO_WAY,), ()), news=(ENTRY_MISSING.id, NO_WAY.id))
    text = body(both)
    assert text.index(" 1. No way to start") < text.index(' 2. The entry "Fernwick Linux" is gone')


def test_systems_of_changes_and_findings_that_strand_are_both_named() -> None:
    gone = replace(LOADER_MISSING, system="Quarry", level=Level.STRANDED)
    both = message(Drift((gone,), (NO_WAY,), ()), news=(gone.id, NO_WAY.id))
    assert subject(both) == (
        "reading-room-3: Quarry and Fernwick Linux would not start (loader missing, no way left)"
    )
    assert body(both).startswith("Quarry and Fernwick Linux on reading-room-3 would not start")


@pytest.mark.parametrize("name", FINDINGS)
@pytest.mark.parametrize("level", Level)
def test_every_finding_at_every_level_has_its_words(name: str, level: Level) -> None:
    one = Finding(f"{name}:1", name, level, None, "the thing", "")
    alone = message(Drift((), (one,), ()), news=(one.id,))
    assert subject(alone).startswith("reading-room-3: ")
    text = body(alone)
    assert "{" not in text
    assert ("the thing" in text.lower()) is (level is not Level.ROUTINE)


@pytest.mark.parametrize("level", ["weakened", "diverted"])
def test_an_address_is_told_of_a_finding_by_its_level(level: str) -> None:
    address = Address("x", Level(level), "technician", "json://x")
    alone = message(Drift((), (STICK_FIRST,), ()), news=(STICK_FIRST.id,))
    assert (skipped(address, alone) is None) is (level == "weakened")


@pytest.mark.parametrize(
    ("told", "can_be_quiet"),
    [
        (kinds.diverted(), True),
        (kinds.reminder(), True),
        (kinds.better(), True),
        (kinds.all_clear(), False),
        (kinds.sign_of_life(), False),
        (replace(kinds.diverted(), still_open=Level.CHANGED), False),
    ],
)
def test_the_foot_names_the_alert_and_how_to_have_no_reminders(told: Message, can_be_quiet: bool) -> None:
    text = body(told)
    assert ("bootwatch alerts quiet a1 --until TIME" in text) is can_be_quiet
    assert ("of alert a1, opened 2026-11-25 07:12 UTC." in text) is (told.called != "")
    assert "FWK QKB HFKL" in text


def test_a_reminder_tells_all_that_is_open_once_more() -> None:
    text = body(kinds.reminder())
    assert text.startswith("Still open, since 2026-11-25 07:12 UTC. At the next switch-on")
    for part in (" 1. The firmware tries its entries in another", "For 1: Look at what stands first now."):
        assert part in text
    assert "STILL OPEN FROM" not in text


def test_an_all_clear_says_how_it_ended_and_what_starts_next() -> None:
    said = " ".join(body(kinds.all_clear()).split())
    assert said.startswith(
        "All clear on reading-room-3: the machine is back at its baseline. Nothing is left open of what was "
        "told since 2026-11-25 07:12 UTC. THE NEXT SWITCH-ON Starts next: Fernwick Linux, by its entry"
    )
    assert "STILL OPEN" not in said and "WHAT TO DO" not in said
    part = body(kinds.better())
    assert 'STILL OPEN\n\n  - The entry "Fernwick Linux" is gone' in part


def test_a_sign_of_life_is_short() -> None:
    text = body(kinds.sign_of_life())
    assert text.startswith("A sign of life from reading-room-3. Nothing is open.\n")
    assert "  - 2026-11-25 07:11 UTC\n  - 2026-11-24 07:03 UTC\n" in text
    assert len(text.splitlines()) < 35


def test_what_starts_next_comes_before_what_happened() -> None:
    text = body(kinds.stranded())
    places = [
        text.index(part) for part in ("THE NEXT SWITCH-ON", "- Quarry: does not start", "WHAT HAPPENED")
    ]
    assert places == sorted(places)
    assert "THE NEXT SWITCH-ON" not in body(message())
