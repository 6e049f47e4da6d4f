"""Signature databases for hypothesis (UEFI 2.10 §32.4.1)."""

import struct

from hypothesis import strategies as st

from bootwatch.formats.signature_list import TYPES, X509

_HEAD = struct.Struct("<16sIII")


@st.composite
def well_formed_lists(draw: st.DrawFn) -> bytes:
    """A list of a standard or of another type with up to four signatures; nothing is wrong with it."""
    kind = draw(st.sampled_from(list(TYPES)) | st.uuids())
    known = TYPES.get(kind)
    sizes = known.sizes if known and known.sizes else (1, 7, 300)
    size = draw(st.sampled_from(sizes))
    mark = b"\x30" if kind == X509 else b""
    header = b"" if known else draw(st.binary(max_size=5))
    count = draw(st.integers(0, 4))
    signatures = [
        draw(st.binary(min_size=16, max_size=16))
        + (mark + draw(st.binary(min_size=size, max_size=size)))[:size]
        for _ in range(count)
    ]
    content = header + b"".join(signatures)
    return _HEAD.pack(kind.bytes_le, _HEAD.size + len(content), len(header), 16 + size) + content


well_formed_databases = st.lists(well_formed_lists(), max_size=4).map(b"".join)


@st.composite
def damaged_lists(draw: st.DrawFn) -> bytes:
    """A list whose sizes need not fit."""
    sizes = [draw(st.integers(0, 100) | st.integers(0, 0xFFFFFFFF)) for _ in range(3)]
    kind = draw(st.sampled_from(list(TYPES))).bytes_le
    return _HEAD.pack(kind, *sizes) + draw(st.binary(max_size=120))


any_databases = st.binary(max_size=120) | st.lists(damaged_lists() | well_formed_lists(), max_size=4).map(
    b"".join
)
