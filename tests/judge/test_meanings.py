"""Every change and finding has its own document, and none promises more than was worked out."""

from __future__ import annotations

import re

import pytest

from bootwatch.judge.meanings import CHANGES, FINDINGS, MEANINGS, fill
from bootwatch.model.meaning import Meaning

# The public names; scripts and configurations hold on to them.
CHANGE_NAMES = [
    "entry-missing",
    "entry-added",
    "entry-inactive",
    "entry-retargeted",
    "entry-renumbered",
    "entry-relabelled",
    "entry-data-changed",
    "order-changed",
    "next-set",
    "timeout-changed",
    "volume-missing",
    "volume-added",
    "volume-reformatted",
    "partition-retyped",
    "partition-renumbered",
    "partition-reidentified",
    "loader-missing",
    "loader-added",
    "loader-changed",
    "loader-emptied",
    "file-missing",
    "file-added",
    "file-changed",
    "secure-boot-switched",
    "keys-changed",
    "firmware-updated",
]
FINDING_NAMES = [
    "volume-not-esp",
    "removable-first",
    "next-left-behind",
    "same-identifiers",
    "fstab-volume-missing",
    "volumes-disagree",
    "loaders-share-volume",
    "order-without-variable",
    "lower-case-entry",
    "volume-nearly-full",
    "store-nearly-full",
    "capsule-waiting",
    "file-damaged",
    "menu-not-shown",
    "starts-unwatched",
    "unheard",
    "no-way-left",
    "restore-not-kept",
    "unseen",
]


def test_the_names_are_the_public_ones() -> None:
    assert sorted(CHANGES) == sorted(CHANGE_NAMES)
    assert sorted(FINDINGS) == sorted(FINDING_NAMES)
    assert len(MEANINGS) == len(CHANGE_NAMES) + len(FINDING_NAMES)


@pytest.mark.parametrize("meaning", MEANINGS.values(), ids=lambda meaning: meaning.name)
def test_a_document_is_whole(meaning: Meaning) -> None:
    for part in (meaning.headline, meaning.consequence):
        assert part.endswith(".") and part.count(". ") == 0, "one sentence"
    for part in (meaning.means, meaning.todo):
        assert part.endswith(".")
    everything = " ".join(
        [meaning.headline, meaning.consequence, meaning.means, meaning.todo, meaning.caution]
    )
    assert set(re.findall(r"\{\w*\}", everything)) <= {"{what}", "{system}"}
    assert not re.search(r"  |\.[A-Z]", everything)


@pytest.mark.parametrize("meaning", MEANINGS.values(), ids=lambda meaning: meaning.name)
def test_no_document_says_that_a_system_does_not_start(meaning: Meaning) -> None:
    """That is for the judge to say, of one machine."""
    claims = re.search(
        r"\{system\} (no longer|does not|doesn't|will not|won't|cannot|can't)", meaning.consequence
    )
    assert not claims


def test_filling_goes_over_the_sentence_once() -> None:
    assert fill("{what} of {system}.", 'the entry "{system}"', "Fernwick Linux") == (
        'The entry "{system}" of Fernwick Linux.'
    )
    assert fill("start {system}.", "x", None) == "Start a system."
