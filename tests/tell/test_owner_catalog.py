"""The owner's catalogs: whole, without leftovers, and compiled from what stands beside them."""

from __future__ import annotations

import gettext
import re
import subprocess
from pathlib import Path

import pytest

from tests.tell.catalog import catalogs, compiled, read, said
from tests.tell.test_owner import FORBIDDEN, IDENTIFIER

CATALOGS = catalogs()
HEADER = ("",)


def _placeholders(text: str) -> set[str]:
    return set(re.findall(r"\{\w*\}", text))


def test_there_is_one_for_each_language_of_the_settings() -> None:
    from bootwatch.config import LANGUAGES

    assert {file.parents[1].name for file in CATALOGS} == set(LANGUAGES) - {"en"}


@pytest.mark.parametrize("file", CATALOGS, ids=lambda file: file.parents[1].name)
def test_everything_is_translated_and_nothing_left_over(file: Path) -> None:
    found = read(file)
    assert set(found) - {HEADER} == said() and len(said()) > 60
    for own, other in found.items():
        if own != HEADER:
            assert len(own) == len(other) and all(other)
            assert all(_placeholders(text) == _placeholders(own[0]) for text in (*own, *other))


@pytest.mark.parametrize("file", CATALOGS, ids=lambda file: file.parents[1].name)
def test_no_word_of_the_trade_in_any_text(file: Path) -> None:
    for own, other in read(file).items():
        if own != HEADER:
            assert not any(FORBIDDEN.search(text) or IDENTIFIER.search(text) for text in (*own, *other))


@pytest.mark.parametrize("file", CATALOGS, ids=lambda file: file.parents[1].name)
def test_what_is_shipped_was_compiled_from_it(file: Path) -> None:
    shipped = file.with_suffix(".mo").read_bytes()
    assert shipped == compiled(read(file)), "run: python -m tests.tell.catalog"


@pytest.mark.long
@pytest.mark.parametrize("file", CATALOGS, ids=lambda file: file.parents[1].name)
def test_msgfmt_makes_the_same_of_it(file: Path, tmp_path: Path) -> None:
    made = tmp_path / "made.mo"
    subprocess.run(["msgfmt", "--check-format", "--check-domain", "-o", made, file], check=True)
    with made.open("rb") as ours, file.with_suffix(".mo").open("rb") as theirs:
        found, expected = gettext.GNUTranslations(ours), gettext.GNUTranslations(theirs)
    assert vars(found)["_catalog"] == vars(expected)["_catalog"]
