"""Hostile text must be harmless wherever it is shown."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import columns, plain


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Fernwick Linux", "Fernwick Linux"),
        ("\\EFI\\fernwick\\loaderx64.efi", "\\EFI\\fernwick\\loaderx64.efi"),
        ("Größe 大", "Größe 大"),
        ("\x1b[31mred", "\\x1b[31mred"),
        ("a\nb\r\tc\0", "a\\x0ab\\x0d\\x09c\\x00"),
        ("\x9b2J", "\\x9b2J"),
        ("exe\u202etxt.efi", "exe\\u202etxt.efi"),
        ("\u2066x\u2069", "\\u2066x\\u2069"),
        ("a\u200bb\ufeff", "a\\u200bb\\ufeff"),
        ("a\u2028b\u2029", "a\\u2028b\\u2029"),
        ("half \ud83d pair", "half \\ud83d pair"),
        ("\U000e0041", "\\U000e0041"),
        ("\u3164\u2800", "\\u3164\\u2800"),
        ("a\u00a0b", "a b"),
        ("e\u0301\u0301\u0301\u0301", "e\u0301\u0301\u0301\\u0301"),
    ],
)
def test_what_is_harmful_is_shown_as_an_escape(text: str, shown: str) -> None:
    assert plain(text) == shown


def test_long_text_is_cut_but_never_within_an_escape() -> None:
    assert plain("a" * 400, 10) == "aaaaaaa..."
    assert plain("aaaa\x1b\x1b", 10) == "aaaa..."
    assert plain("a" * 10, 10) == "a" * 10


@given(st.text(alphabet=st.characters(), max_size=80), st.integers(3, 100))
def test_nothing_harmful_comes_through(text: str, limit: int) -> None:
    shown = plain(text, limit)
    assert len(shown) <= limit
    shown.encode("utf-8")
    assert len(shown.splitlines()) <= 1
    assert not {unicodedata.category(character)[0] for character in shown} & {"C"}
    assert plain(shown, limit) == shown


@given(st.text(alphabet=st.characters(), max_size=300), st.integers(20, 80))
def test_lines_keep_to_their_width(text: str, width: int) -> None:
    lines = wrapped(text, width, "  * ")
    assert all(columns(line) <= width for line in lines)
    assert "".join("".join(lines)[4:].split()) == "".join(plain(text, 4000).split()).replace(" ", "")


def test_a_long_path_is_broken_at_a_backslash() -> None:
    path = "\\EFI\\" + "f" * 20 + "\\" + "g" * 20
    assert wrapped(path, 40) == ["\\EFI\\" + "f" * 20, "\\" + "g" * 20]
