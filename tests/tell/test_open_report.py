"""The open differences as they are offered."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.model.change import Drift
from bootwatch.tell.open_report import listed, open_report, taking_report
from bootwatch.tell.plain import columns
from tests.tell.samples import (
    DRIFT,
    ENTRY_MISSING,
    FACTS,
    HOSTILE,
    LOADER_MISSING,
    ORDER_CHANGED,
    QUIET,
    RULE,
)

EXPECTED = replace(LOADER_MISSING, accepted=RULE)


def test_what_a_rule_accepted_comes_first_and_says_by_which() -> None:
    drift = Drift((ENTRY_MISSING, EXPECTED, ORDER_CHANGED), (), DRIFT.gaps)
    text = open_report(drift, FACTS)
    told = " ".join(text.split())
    assert f"Accepted by rule. {RULE}" in told
    places = [text.index(change.id) for change in (EXPECTED, ENTRY_MISSING, ORDER_CHANGED)]
    assert places == sorted(places)
    assert places[0] < text.index("Accepted by no rule") < places[1]
    assert "3 differences from the baseline are open, 1 of them accepted by rule." in told
    assert "bootwatch baseline adopt --accepted --reason TEXT" in text
    assert "Could not be read" in text


def test_counts_one_all_and_none() -> None:
    assert "1 difference from the baseline is open." in open_report(Drift((ENTRY_MISSING,), (), ()), FACTS)
    one = open_report(Drift((EXPECTED,), (), ()), FACTS)
    assert "1 difference from the baseline is open, accepted by rule." in " ".join(one.split())
    both = open_report(Drift((EXPECTED, replace(EXPECTED, id="x:1")), (), ()), FACTS)
    assert "are open, all of them accepted by rule." in " ".join(both.split())
    none = open_report(QUIET, FACTS)
    assert "no difference from the baseline is open." in none and "adopt" not in none


def test_a_crowd_is_counted() -> None:
    crowd = tuple(replace(EXPECTED, id=f"loader-missing:{number:08x}") for number in range(100))
    text = open_report(Drift(crowd, (), ()), FACTS)
    assert "and 70 more: --json lists them all" in text
    assert len(listed(crowd).splitlines()) < 100


def test_nothing_hostile_and_nothing_wider_than_the_terminal() -> None:
    bad = replace(ENTRY_MISSING, what=HOSTILE * 9, accepted=HOSTILE, id=f"entry-missing:{HOSTILE}")
    texts = [open_report(Drift((bad,), (), ()), replace(FACTS, machine=HOSTILE)), listed([bad])]
    for text in [*texts, taking_report([bad, ORDER_CHANGED], "- It is wrong.\n")]:
        assert all(columns(line) <= 80 for line in text.splitlines())
        assert all(character == "\n" or character.isprintable() for character in text)
