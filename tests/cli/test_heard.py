"""bootwatch heard, without machine, rights and network."""

from __future__ import annotations

from pathlib import Path

import pytest

from bootwatch.model.spoken import Following, Spoken, Standing
from bootwatch.tell.spoken import encode
from tests.cli.commands import Commands
from tests.roots import Root

CODE = encode(Spoken(Standing.DIVERTED, "F", Following.LIKELY_SYSTEM, "Q", "order-changed", None))


@pytest.fixture
def bare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(Root(tmp_path), capsys)


def test_a_code_in_words(bare: Commands) -> None:
    said = bare("heard", *CODE.lower().split())
    assert said.status == 0
    assert said.out.splitlines() == [
        "worst open: diverted: another system would start than usual",
        "affected: the system whose name begins with F",
        "next start: probably the system whose name begins with Q",
        "gravest: order-changed: The firmware tries its entries in another order. See: bootwatch meaning "
        "order-changed",
        "last look: at an unknown time",
        "kit: none is known: bootwatch baseline export makes one, on a stick",
    ]


def test_a_code_as_data(bare: Commands) -> None:
    assert bare("heard", CODE, "--json").document == {
        "format": "bootwatch/heard/1",
        "standing": "diverted",
        "system": "F",
        "next_start": "probably system",
        "next_system": "Q",
        "name": "order-changed",
        "kit": None,
        "age_in_days": None,
    }


def test_a_misheard_code(bare: Commands) -> None:
    said = bare("heard", "X" + CODE[1:])
    assert said.status == 2 and said.out == ""
    assert said.err.splitlines() == [
        "bootwatch: The code was misheard or mistyped: its letters don't fit together.",
        "Ask for it once more, letter by letter, with a word for each: Bravo, Foxtrot, Hotel ...",
    ]
