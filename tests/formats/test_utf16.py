"""UTF-16 text against Python's own decoder."""

from hypothesis import given
from hypothesis import strategies as st

from bootwatch.formats.utf16 import nul_at, until_nul

few_values = st.lists(st.sampled_from([0, 0, 1, 0x41, 0xD8]), max_size=14).map(bytes)


@given(few_values, st.integers(0, 3))
def test_the_nul_is_the_first_whole_character_that_is_zero(data: bytes, start: int) -> None:
    pairs = [data[at : at + 2] for at in range(start, len(data) - 1, 2)]
    assert nul_at(data, start) == (start + 2 * pairs.index(b"\0\0") if b"\0\0" in pairs else -1)


@given(st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12), few_values)
def test_text_ends_at_its_nul(text: str, rest: bytes) -> None:
    assert until_nul(text.encode("utf-16-le") + b"\0\0" + rest) == text


def test_what_is_no_text_can_still_be_printed() -> None:
    assert until_nul(b"a\0\x00\xd8b\0x") == "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}"
