"""What is known of the time between two snapshots, besides who had the machine."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bootwatch.judge.evidence import Span, evidence, unseen_starts
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.change import Custody
from bootwatch.model.package import Action, PackageChange
from bootwatch.model.snapshot import Circumstance, Moment

STOP = Circumstance("a", Moment.SHUTDOWN, "2026-03-01T20:00:00Z", tpm_resets=40)
BEGIN = Circumstance("b", Moment.BOOT, "2001-01-01T00:00:00Z", tpm_resets=41)
FERNWICK = Origin("gpt:1f3b7c58", "\\EFI\\fernwick\\loaderx64.efi")
QUARRY = Origin("gpt:6d0a41be", "\\EFI\\quarry\\startx64.efi")


def told(span: Span) -> dict[str, str]:
    return {one.trace.value: one.sentence for one in evidence(span)}


def test_nothing_is_known_of_what_was_there_from_the_beginning() -> None:
    assert evidence(Span(looks=(BEGIN,), capsule=True)) == ()


@pytest.mark.parametrize(
    ("resets", "expected"),
    [
        (41, 0),
        (42, 1),
        (101, 60),
        (3, None),  # cleared
        (None, None),
    ],
)
def test_starts_that_this_system_did_not_see(resets: int | None, expected: int | None) -> None:
    assert unseen_starts((STOP, replace(BEGIN, tpm_resets=resets))) == expected


def test_starts_that_were_seen_in_between_are_not_counted_as_unseen() -> None:
    between = replace(BEGIN, boot_id="c", tpm_resets=42)
    assert unseen_starts((STOP, between, replace(BEGIN, tpm_resets=44))) == 2


def test_start_without_the_firmware_does_not_stand_for_an_unseen_one() -> None:
    """This system started its next kernel itself, which the TPM doesn't count; then another system ran."""
    by_itself = replace(BEGIN, boot_id="c", tpm_resets=40)
    assert unseen_starts((STOP, by_itself)) == 0
    assert unseen_starts((STOP, by_itself, replace(BEGIN, tpm_resets=42))) == 1


def test_the_count_proves_that_no_other_system_was_started() -> None:
    assert told(Span((STOP, BEGIN))) == {
        "no-other-start": (
            "The TPM counted no start that this system did not see: no other one ran in between."
        )
    }


def test_hibernation_within_one_start_is_told() -> None:
    slept = replace(STOP, moment=Moment.ASKED), replace(STOP, moment=Moment.ASKED, tpm_resets=42)
    assert told(Span(slept)) == {"starts-unseen": "The TPM counted 2 starts that this system did not see."}


def test_what_the_firmware_itself_did_at_this_start() -> None:
    tried = Attempt(QUARRY, returned=True), Attempt(FERNWICK)
    now = replace(BEGIN, tpm_resets=None, attempts=tried, order_seen=(1, 0x1A))
    assert told(Span((STOP, now), Custody.ELSEWHERE)) == {
        "failed-first": (
            "At this start the firmware first tried \\EFI\\quarry\\startx64.efi on gpt:6d0a41be, in vain."
        ),
        "really-ran": "At this start the firmware ran \\EFI\\fernwick\\loaderx64.efi on gpt:1f3b7c58.",
        "order-seen": "The boot order that it went by then was Boot0001, Boot001A.",
    }


def test_the_log_of_a_start_says_nothing_of_changes_within_it() -> None:
    now = replace(STOP, attempts=(Attempt(FERNWICK),), order_seen=(0,))
    assert evidence(Span((now, now), Custody.HERE)) == ()


def test_firmware_files_and_packages() -> None:
    packages = tuple(PackageChange(Action.UPDATED, f"package-{number}", "1", "2") for number in range(7))
    begin = replace(BEGIN, tpm_resets=None, packages=packages)
    span = Span((STOP, begin), firmware=("Brook 1.0", "Brook 1.1"), capsule=True, touched=("Quarry",))
    assert list(told(span).values()) == [
        "Files that Quarry writes at its starts were written.",
        "A firmware update was waiting to be carried out at the next start.",
        "The firmware was updated, from Brook 1.0 to Brook 1.1.",
        "This system's package manager updated package-0 (2), updated package-1 (2), updated package-2 (2), "
        "updated package-3 (2) and 3 more.",
    ]
