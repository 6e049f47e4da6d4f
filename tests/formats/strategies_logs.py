"""Logs of measurements for hypothesis (TCG PC Client Platform Firmware Profile 1.05 §10)."""

import struct

from hypothesis import strategies as st

from bootwatch.formats.event_data import ACTIONS, IMAGES, NAMES, VARIABLES

from .strategies_paths import any_paths, well_formed_paths

_OLD = struct.Struct("<II20sI")
SIZES = {0x0004: 20, 0x000B: 32, 0x000C: 48, 0x000D: 64, 0x0012: 32}
_registers = st.integers(0, 23)


def _variable(name: str, namespace: bytes, data: bytes) -> bytes:
    text = name.encode("utf-16-le")
    return namespace + struct.pack("<QQ", len(text) // 2, len(data)) + text + data


_names = st.text("BootOrdr0123456789ABCDEF", min_size=1, max_size=12)
_variables = st.builds(_variable, _names, st.binary(min_size=16, max_size=16), st.binary(max_size=60))
_images = st.builds(
    lambda place, path: struct.pack("<QQQQ", place, 4096, 0, len(path)) + path,
    st.integers(0, (1 << 64) - 1),
    well_formed_paths | any_paths,
)


@st.composite
def _contents(draw: st.DrawFn) -> tuple[int, bytes]:
    """A type, and data as such events have."""
    kind = draw(st.sampled_from(list(NAMES)) | st.integers(0, 0xFFFFFFFF))
    if kind in VARIABLES:
        return kind, draw(_variables)
    if kind in IMAGES:
        return kind, draw(_images)
    if kind in ACTIONS:
        return kind, draw(st.text("Caling EFI", max_size=30)).encode()
    return kind, draw(st.binary(max_size=60))


def _old_event(register: int, digest: bytes, content: tuple[int, bytes]) -> bytes:
    kind, data = content
    return _OLD.pack(register, kind, digest, len(data)) + data


_old_events = st.builds(_old_event, _registers, st.binary(min_size=20, max_size=20), _contents())
# The first of them must not look like the head of the other form.
well_formed_old_logs = st.lists(_old_events, min_size=1, max_size=6).map(b"".join)


@st.composite
def _events(draw: st.DrawFn, algorithms: list[int]) -> bytes:
    used = draw(st.lists(st.sampled_from(algorithms), min_size=1, unique=True))
    digests = b"".join(
        struct.pack("<H", number) + draw(st.binary(min_size=SIZES[number], max_size=SIZES[number]))
        for number in used
    )
    kind, data = draw(_contents())
    head = struct.pack("<III", draw(_registers), kind, len(used))
    return head + digests + struct.pack("<I", len(data)) + data


def _head(algorithms: list[int]) -> bytes:
    listed = b"".join(struct.pack("<HH", number, SIZES[number]) for number in algorithms)
    data = struct.pack("<16sIBBBBI", b"Spec ID Event03", 0, 0, 2, 0, 2, len(algorithms)) + listed + b"\0"
    return _OLD.pack(0, 3, bytes(20), len(data)) + data


@st.composite
def well_formed_agile_logs(draw: st.DrawFn) -> bytes:
    """A head that names some algorithms, and events with digests of these."""
    algorithms = draw(st.lists(st.sampled_from(list(SIZES)), min_size=1, unique=True))
    return _head(algorithms) + b"".join(draw(st.lists(_events(algorithms), max_size=6)))


well_formed_logs = well_formed_old_logs | well_formed_agile_logs()


@st.composite
def any_logs(draw: st.DrawFn) -> bytes:
    """Well-formed logs with a few bytes changed or cut, or anything."""
    log = bytearray(draw(well_formed_logs))
    for _ in range(draw(st.integers(0, 4))):
        log[draw(st.integers(0, len(log) - 1))] = draw(st.integers(0, 255))
    return bytes(log[: draw(st.integers(0, len(log)))]) + draw(st.binary(max_size=20))
