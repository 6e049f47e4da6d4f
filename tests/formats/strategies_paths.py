"""Device paths for hypothesis: well-formed ones of every type, and nodes of any bytes."""

import struct
from random import Random

from hypothesis import strategies as st

from . import made_paths

# hypothesis steers the Random, so that it can make a failing path smaller.
_randoms = st.randoms(use_true_random=False)


def _path(random: Random, first: tuple[int, int]) -> bytes:
    return made_paths.make(random, first, stretch=0)


# Nothing is wrong with these: an End node is a header and no more.
well_formed_paths = st.builds(_path, _randoms, st.sampled_from(list(made_paths.NODES))).filter(
    lambda path: path.endswith(b"\x7f\xff\x04\x00")
)


@st.composite
def damaged_nodes(draw: st.DrawFn) -> bytes:
    """A node of a known or any type, with any payload and now and then another length than it has."""
    known = st.sampled_from([*made_paths.NODES, (0x7F, 1), (0x7F, 0xFF)])
    kind, subtype = draw(known | st.tuples(st.integers(0, 255), st.integers(0, 255)))
    data = draw(st.binary(max_size=60))
    length = draw(st.just(4 + len(data)) | st.integers(0, 70))
    return struct.pack("<BBH", kind, subtype, length) + data


any_paths = st.binary(max_size=200) | st.lists(damaged_nodes(), max_size=8).map(b"".join)
