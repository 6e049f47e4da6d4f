"""Load options for hypothesis (UEFI 2.10 §3.1.3)."""

import struct

from hypothesis import strategies as st

from .strategies_paths import any_paths, well_formed_paths

# No NUL, no half of a surrogate pair.
descriptions = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=20)
attributes = st.sampled_from([0, 1, 9, 0x101, 0x109, 0x80000001]) | st.integers(0, 0xFFFFFFFF)


def _option(number: int, text: str, paths: list[bytes], data: bytes) -> bytes:
    path = b"".join(paths)
    return struct.pack("<IH", number, len(path)) + text.encode("utf-16-le") + b"\0\0" + path + data


# Nothing is wrong with these; some hold two paths.
well_formed_options = st.builds(
    _option,
    attributes,
    descriptions,
    st.lists(well_formed_paths, min_size=1, max_size=2),
    st.binary(max_size=40),
)


@st.composite
def any_options(draw: st.DrawFn) -> bytes:
    """Options whose length, text and paths may not fit each other."""
    head = struct.pack("<IH", draw(attributes), draw(st.integers(0, 300)))
    text = draw(st.text(max_size=20)).encode("utf-16-le", "surrogatepass") + draw(
        st.sampled_from([b"\0\0", b""])
    )
    return head + text + draw(any_paths) + draw(st.binary(max_size=40))
