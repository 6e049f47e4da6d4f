"""The drift as a technician reads it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from bootwatch.model.change import Custody, Drift, Finding
from bootwatch.model.evidence import Evidence, Trace
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.tell.phrases import first_seen, gap, unwatched
from bootwatch.tell.plain import columns
from bootwatch.tell.report import drift_report, one_line
from bootwatch.tell.values import before_and_after
from tests.tell.samples import (
    DRIFT,
    ENTRY_MISSING,
    FACTS,
    HOSTILE,
    LOADER_MISSING,
    NO_WAY,
    ORDER_CHANGED,
    QUIET,
    RULE,
    SEED_CHANGED,
    STICK_FIRST,
    VOLUME,
    change,
    elsewhere,
    harmful,
    hostile_drift,
    update,
)


def test_what_happened_is_said_with_both_sides_consequence_and_identifiers_last() -> None:
    report = drift_report(DRIFT, FACTS)
    piece = report.split("\n\n")[2].splitlines()
    assert piece[0] == '  weakened  The entry "Fernwick Linux" is gone from the firmware.'
    assert piece[1].split(maxsplit=1) == [
        "before",
        'Boot0003 "Fernwick Linux", \\EFI\\fernwick\\loaderx64.efi,',
    ]
    assert "after   gone" in piece[3]
    assert "can no longer start Fernwick Linux" in piece[4]
    assert piece[-1].strip() == f"entry-missing:7c1e Boot0003 {VOLUME}"


def test_systems_come_worst_first_and_the_machine_last() -> None:
    quarry = change("loader-changed", Level.CHANGED, "Quarry", "the loader x")
    report = drift_report(Drift((ORDER_CHANGED, quarry, SEED_CHANGED, ENTRY_MISSING), (), ()), FACTS)
    headings = [
        line for line in report.splitlines() if line in ("Fernwick Linux", "Quarry", "The machine as a whole")
    ]
    assert headings == ["Fernwick Linux", "Quarry", "The machine as a whole"]


@pytest.mark.parametrize("width", [40, 72, 80, 132])
def test_lines_keep_to_the_width(width: int) -> None:
    for drift in (DRIFT, hostile_drift()):
        assert max(columns(line) for line in drift_report(drift, FACTS, width).splitlines()) <= width


def test_hostile_text_is_harmless_in_the_report() -> None:
    report = drift_report(hostile_drift(), replace(FACTS, machine="\x1b[1mx\ny", baseline_reason="\x1b"))
    assert not harmful(report)
    assert "\nBcc" not in report
    assert not harmful(one_line(hostile_drift()))


def test_what_was_not_seen_is_said_in_plain_words() -> None:
    report = drift_report(DRIFT, FACTS)
    assert "the firmware variable db: permission was denied" in report
    assert "reading it failed" in report and "(I/O error on sdb2)" in report


def test_time_and_custody_are_said_once_where_they_are_the_same() -> None:
    said = "Every change happened between snapshot 4 and snapshot 5; who had the machine then"
    assert said in " ".join(drift_report(DRIFT, FACTS).split())
    other = replace(LOADER_MISSING, custody=Custody.ELSEWHERE, between=(None, 3))
    report = " ".join(drift_report(Drift((ENTRY_MISSING, other), (), ()), FACTS).split())
    assert "Every change" not in report
    assert "before snapshot 3, where it was first seen, while another system or the firmware had" in report
    assert "It happened between snapshot 4 and snapshot 5" in report


def test_what_is_known_of_a_time_is_said_once_however_many_changes_it_has() -> None:
    report = drift_report(Drift((elsewhere(ENTRY_MISSING), elsewhere(ORDER_CHANGED)), (), ()), FACTS)
    assert report.splitlines()[3:7] == [
        "Every change happened between snapshot 4 and snapshot 5, while another system or",
        "the firmware had the machine. What is known of that time:",
        "  - The TPM counted 2 starts that this system did not see.",
        "  - Files that Quarry writes at its starts were written.",
    ]
    assert report.count("The TPM counted") == 1


def test_what_is_known_of_several_times_is_said_of_each() -> None:
    loud = (elsewhere(ENTRY_MISSING), elsewhere(ORDER_CHANGED), replace(LOADER_MISSING, between=(None, 3)))
    later = elsewhere(replace(SEED_CHANGED, id="file-changed:2"), (7, 8))
    report = drift_report(Drift((*loud, later), (), ()), FACTS)
    known = report[report.index("What is known of those times") :].split("\n\n")[1:3]
    assert known[0].splitlines() == [
        "  Between snapshot 4 and snapshot 5",
        "    - The TPM counted 2 starts that this system did not see.",
        "    - Files that Quarry writes at its starts were written.",
    ]
    assert known[1].splitlines() == [
        "  Before snapshot 3, where it was first seen",
        "    - Nothing more is known of that time.",
    ]
    assert report.count("The TPM counted") == 1


@pytest.mark.parametrize(
    ("custody", "is_said"), [(Custody.UNKNOWN, True), (Custody.HERE, False), (Custody.ELSEWHERE, False)]
)
def test_that_nothing_more_is_known_is_said_where_not_even_custody_is(
    custody: Custody, is_said: bool
) -> None:
    report = drift_report(Drift((replace(ENTRY_MISSING, custody=custody),), (), ()), FACTS)
    assert ("Nothing more is known of that time." in " ".join(report.split())) is is_said
    assert "What is known" not in report


def test_what_a_rule_expects_is_counted_in_a_block_of_its_own() -> None:
    own = "It belongs to this system's own update."
    drift = Drift((ENTRY_MISSING, *update(), *update("Fernwick Linux", 0, own)), (), ())
    report = drift_report(drift, FACTS)
    block = report[report.index("Expected, and accepted by rule") :].split("\n\n")
    assert block[1].splitlines()[:3] == [
        "  routine   1 loader and 11 files of Quarry",
        "            Quarry changed its own files while it had the machine; both systems",
        "            started since.",
    ]
    assert block[2].splitlines()[:2] == ["  routine   1 loader of Fernwick Linux", f"            {own}"]
    assert "bootwatch baseline adopt" in block[3]
    assert "file-changed:" not in report and report.count("before  ") == 1
    assert report.startswith("reading-room-3: 1 change weakens how this machine starts.")


def test_a_report_of_what_is_expected_begins_calmly_and_asks_for_nothing() -> None:
    report = drift_report(Drift(update(), (), ()), FACTS)
    assert report.startswith("reading-room-3: no change that matters; 12 routine changes.\n")
    assert "What to do" not in report and "baseline save" not in report
    assert " ".join(RULE.split()) in " ".join(report.split())


def test_a_rule_does_not_repeat_what_is_known_of_the_time() -> None:
    packages = "This system's package manager updated fernwick-boot (2.1)."
    known = (Evidence(Trace.PACKAGES, packages),)
    own = update("Fernwick Linux", 2, f"It belongs to this system's own update. {packages}")
    once = tuple(elsewhere(one, known=known) for one in own)
    report = " ".join(drift_report(Drift(once, (), ()), FACTS).split())
    assert report.count(packages) == 1 and "It belongs to this system's own update." in report
    twice = (*once[:2], elsewhere(once[2], (6, 9), known))
    report = " ".join(drift_report(Drift(twice, (), ()), FACTS).split())
    assert report.count(packages) == 1
    assert "It happened at 2 different times between snapshot 4 and snapshot 9." in report


def test_an_order_of_no_system_is_named_and_not_counted() -> None:
    order = replace(ORDER_CHANGED, level=Level.ROUTINE, accepted=RULE)
    assert "  routine   the boot order\n" in drift_report(Drift((order,), (), ()), FACTS)


def test_a_finding_that_is_worse_than_every_change_comes_first() -> None:
    report = drift_report(Drift((ENTRY_MISSING,), (STICK_FIRST, NO_WAY), ()), FACTS)
    assert (
        report.index("No way to start") < report.index("removable disk first") < report.index("is gone from")
    )
    assert "bootwatch meaning no-way-left" in report
    report = drift_report(Drift((ENTRY_MISSING,), (STICK_FIRST,), ()), FACTS)
    assert report.index("is gone from") < report.index("removable disk first")


@pytest.mark.parametrize(
    ("drift", "line"),
    [
        (QUIET, "no change from the baseline"),
        (Drift((ENTRY_MISSING,), (), ()), "1 change weakens how this machine starts"),
        (Drift((ENTRY_MISSING, LOADER_MISSING), (), ()), "2 changes weaken how this machine starts"),
        (Drift((ENTRY_MISSING, SEED_CHANGED), (), ()), "1 change weakens how this machine starts"),
        (Drift((SEED_CHANGED,), (), ()), "no change that matters; 1 routine change"),
        (Drift((*update(), SEED_CHANGED), (), ()), "no change that matters; 13 routine changes"),
        (
            Drift((replace(ENTRY_MISSING, level=Level.STRANDED), ORDER_CHANGED, SEED_CHANGED), (), ()),
            "1 of 2 changes keeps a system from starting",
        ),
        (DRIFT, "2 of 3 changes weaken how this machine starts; 1 finding; 2 parts could not be read"),
        (Drift((), (DRIFT.findings[0],), ()), "no change from the baseline; 1 finding"),
        (Drift(update(), (STICK_FIRST,), ()), "1 finding; no change that matters"),
        (
            Drift((ENTRY_MISSING,), (STICK_FIRST, NO_WAY), ()),
            "1 of 2 findings keeps a system from starting; 1 change weakens how this machine starts",
        ),
        (
            Drift((replace(ENTRY_MISSING, level=Level.STRANDED),), (NO_WAY,), ()),
            "1 change keeps a system from starting; 1 finding keeps a system from starting",
        ),
    ],
)
def test_one_line(drift: Drift, line: str) -> None:
    assert one_line(drift) == line


ESP = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
DATA = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"


@pytest.mark.parametrize(
    ("name", "before", "after", "shown"),
    [
        ("secure-boot-switched", "on", "unknown", ("on", "unknown")),
        ("timeout-changed", 1, None, ("1 second", "not set")),
        ("timeout-changed", 0, 65535, ("0 seconds", "until a person chooses")),
        ("next-set", None, {"entry": "Boot0001", "label": "Quarry"}, ("none", 'Boot0001 "Quarry"')),
        ("file-added", None, {"size": 1500, "sha256": "ab" * 32}, ("not there", "1,500 bytes")),
        (
            "partition-retyped",
            {"volume": VOLUME, "partition": 1, "type": ESP, "label": "ESP", "disk": "A"},
            {"volume": VOLUME, "partition": 1, "type": DATA, "label": "ESP", "disk": "A"},
            ("type EFI system partition", "type basic data"),
        ),
        (
            "entry-retargeted",
            {
                "entry": "Boot0003",
                "label": "F",
                "volume": VOLUME,
                "file": "\\a.efi",
                "active": True,
                "data": "",
            },
            {
                "entry": "Boot0003",
                "label": "F",
                "volume": "gpt:other",
                "file": "\\a.efi",
                "active": True,
                "data": "",
            },
            (f'Boot0003 "F", on {VOLUME}', 'Boot0003 "F", on gpt:other'),
        ),
        (
            "entry-inactive",
            {
                "entry": "Boot0003",
                "label": "F",
                "volume": VOLUME,
                "file": "\\a.efi",
                "active": True,
                "data": "",
            },
            {
                "entry": "Boot0003",
                "label": "F",
                "volume": VOLUME,
                "file": "\\a.efi",
                "active": False,
                "data": "",
            },
            ('Boot0003 "F", active', 'Boot0003 "F", switched off'),
        ),
        ("order-changed", [], [{"entry": "Boot0007", "label": None}], ("empty", "Boot0007")),
        (
            "volume-reformatted",
            {"volume": VOLUME, "partition": 1, "type": ESP, "label": "ESP", "serial": "1-2", "disk": "A"},
            {"volume": VOLUME, "partition": 1, "type": ESP, "label": "ESP", "serial": "3-4", "disk": "A"},
            ("serial number 1-2", "serial number 3-4"),
        ),
        (
            "volume-reformatted",
            {"volume": VOLUME, "partition": 1, "type": ESP, "label": "ESP", "disk": "A"},
            {"volume": VOLUME, "partition": 1, "type": ESP, "file_system": None},
            ('named "ESP", on the disk A', "no file system that firmware starts from"),
        ),
        ("keys-changed", {"size": 3, "sha256": "ab" * 32}, None, ("3 bytes", "gone")),
        ("something-new", {"a": [1, None]}, 3.5, ('{"a":[1,null]}', "3.5")),
    ],
)
def test_both_sides_are_shown_in_words(name: str, before: Any, after: Any, shown: tuple[str, str]) -> None:
    assert before_and_after(change(name, Level.CHANGED, None, "x", before, after)) == shown


def test_many_gaps_are_cut_short_and_say_so() -> None:
    holes = tuple(Gap("disk", f"sd{number}", Reason.ABSENT, "") for number in range(23))
    assert "  - and 3 more: --json lists them all" in drift_report(Drift((), (), holes), FACTS)


def test_each_sort_of_gap_names_what_it_is() -> None:
    assert gap(Gap("variables", "*", Reason.DENIED, "")) == "the firmware's variables: permission was denied"
    assert gap(Gap("disk", "sdb", Reason.UNREADABLE, "EIO")) == "the disk sdb: reading it failed (EIO)"
    assert gap(Gap("machine", "etc/fstab", Reason.DENIED, "")) == "/etc/fstab: permission was denied"
    shown = gap(Gap("volume", "gpt:1", Reason.LIMIT, "", "\\EFI\\big"))
    assert shown == "\\EFI\\big on the boot volume gpt:1: it is more than what is read"


def test_starts_that_nobody_watched_are_said_shortly() -> None:
    missed = Finding(
        "starts-unwatched:1", "starts-unwatched", Level.CHANGED, None, "61 starts in 20 days", ""
    )
    assert unwatched(Drift((), (missed,), ())) == "61 starts in 20 days went unwatched"
    assert unwatched(DRIFT) == ""
    assert not harmful(unwatched(Drift((), (replace(missed, what=HOSTILE),), ())))


def test_what_a_snapshot_was_the_first_to_show_is_named_where_it_matters() -> None:
    drift = Drift((ENTRY_MISSING, replace(LOADER_MISSING, between=(2, 3)), SEED_CHANGED), (), ())
    assert [first_seen(drift, number) for number in (3, 4, 5)] == ["loader missing", "", "entry missing"]
