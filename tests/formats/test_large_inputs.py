"""16 MiB of hostile bytes: a value or a FormatError within a second of processor time and 100 MB."""

import contextlib
import gc
import json
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from bootwatch.formats import FormatError, signature_list
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.event_log import EventLog
from bootwatch.formats.load_option import LoadOption
from tests.pace import Stopwatch

pytestmark = pytest.mark.long
SIZE = 16 << 20
LOG_HEAD = struct.pack("<II20sI", 0, 3, bytes(20), 33) + struct.pack(
    "<16sIBBBBIHHB", b"Spec ID Event03", 0, 0, 2, 0, 2, 1, 0x77, 0, 0
)
# Sixteen digests of no bytes: as many objects as an event of this size can have.
LOG_EVENT = struct.pack("<III", 0, 0, 16) + struct.pack("<H", 0x77) * 16 + bytes(4)


def node(kind: int, subtype: int, data: bytes) -> bytes:
    return struct.pack("<BBH", kind, subtype, 4 + len(data)) + data


def filled(piece: bytes, before: bytes = b"") -> bytes:
    return before + piece * ((SIZE - len(before)) // len(piece))


def owners() -> bytes:
    """One list whose signatures are only an owner, each another one."""
    count = SIZE // 16 - 2
    numbers = b"".join(struct.pack("<QQ", number, 0) for number in range(count))
    return bytes(15) + b"\1" + struct.pack("<III", 28 + 16 * count, 0, 16) + numbers


def path(data: bytes) -> object:
    read = DevicePath.parse(data)
    return str(read), read.file(), read.hard_drive()


def option(data: bytes) -> object:
    read = LoadOption.parse(data)
    return str(read.path), read.optional_data_text


def log(data: bytes) -> object:
    return [(event.action, event.variable, event.image) for event in EventLog.parse(data).events]


CASES: dict[str, tuple[Callable[[bytes], object], Callable[[], bytes]]] = {
    "path-unknown": (path, lambda: filled(node(9, 9, bytes(65531)))),
    "path-resolvers": (path, lambda: filled(node(3, 31, b"\1" + bytes(65520)))),
    "path-addresses": (path, lambda: filled(node(2, 3, bytes(65528)))),
    "path-small": (path, lambda: filled(node(1, 1, b"ab"))),
    "path-files": (path, lambda: filled(node(4, 4, b"a\0" * 32764))),
    "option-nul-astride": (option, lambda: filled(b"a\0\0b", bytes(4) + b"\xff\xff")),
    "option-text": (option, lambda: filled(b"text", bytes(8))),
    "option-description": (option, lambda: filled(b"a\0", bytes(6))),
    "database-owners": (signature_list.parse, owners),
    "database-lists": (signature_list.parse, lambda: filled(bytes(16) + struct.pack("<III", 28, 0, 16))),
    "database-ones": (signature_list.parse, lambda: b"\xff" * SIZE),
    "log-digests": (log, lambda: filled(LOG_EVENT, LOG_HEAD)),
    "log-old": (log, lambda: filled(struct.pack("<II20sI", 0, 0x80000007, bytes(20), 0))),
    "log-paths": (log, lambda: filled(struct.pack("<II20sIQQQQ", 4, 0x80000003, bytes(20), 32, 0, 0, 0, 0))),
}


def measured(name: str) -> tuple[float, int]:
    """Seconds of processor time that the case took, and by how many bytes the process grew at most."""
    read, build = CASES[name]
    data = build()
    assert len(data) > SIZE - (1 << 16)
    gc.collect()
    # §3.3 of the kernel's proc documentation: sets the peak back to what is in use now.
    Path("/proc/self/clear_refs").write_text("5")
    before, watch = _status("VmRSS"), Stopwatch()
    with contextlib.suppress(FormatError):
        read(data)
    return watch.seconds(), _status("VmHWM") - before


def _status(field: str) -> int:
    (line,) = (line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith(field))
    return int(line.split()[1]) << 10


@pytest.fixture(scope="module")
def costs() -> dict[str, tuple[float, int]]:
    """Each case in a process that has seen nothing else, so that no free memory hides what is needed."""
    program = (
        f"import json, {__name__} as tests; print(json.dumps({{n: tests.measured(n) for n in tests.CASES}}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=Path(__file__).parents[2], stdout=subprocess.PIPE, check=True
    )
    found: dict[str, tuple[float, int]] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("name", CASES)
def test_ends_soon_and_in_little_memory(costs: dict[str, tuple[float, int]], name: str) -> None:
    seconds, grown = costs[name]
    assert seconds < 1
    assert grown < 100 << 20
