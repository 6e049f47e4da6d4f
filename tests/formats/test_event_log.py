"""Logs of measurements that real firmware wrote, against tpm2_eventlog; and what damage does to them.

The samples come from `python -m tests.firmware.measured`: a start with a TPM whose first entry fails.
"""

import struct
import uuid

import pytest

from bootwatch.formats import FormatError
from bootwatch.formats.event_data import NAMES, image, separator, variable
from bootwatch.formats.event_log import MAX_EVENTS, EventLog
from bootwatch.formats.load_option import LoadOption

from .told import seen, told
from .tools import SAMPLES

AGILE, SHA1, IA32 = ((SAMPLES / f"event_log_{name}.bin").read_bytes() for name in ("agile", "sha1", "ia32"))
ROOT = "PciRoot(0x0)/Pci(0x4,0x0)/HD(1,GPT,11111111-1111-4111-8111-111111111111,0x800,0x14000)"
STORY = [
    "Calling EFI Application from Boot Option",
    f"{ROOT}/\\EFI\\quarry\\loader.efi",
    "Returning from EFI Application from Boot Option",
    "Calling EFI Application from Boot Option",
    f"{ROOT}/\\EFI\\fernwick\\loader.efi",
]


def old_event(pcr: int, kind: int, data: bytes) -> bytes:
    return struct.pack("<II20sI", pcr, kind, bytes(20), len(data)) + data


def head(*algorithms: tuple[int, int], count: int | None = None) -> bytes:
    """The first event of a crypto agile log that names those algorithms and the sizes of their digests."""
    listed = b"".join(struct.pack("<HH", *algorithm) for algorithm in algorithms)
    number = len(algorithms) if count is None else count
    return old_event(
        0, 3, struct.pack("<16sIBBBBI", b"Spec ID Event03", 0, 0, 2, 0, 2, number) + listed + b"\0"
    )


def event(digests: list[tuple[int, bytes]], data: bytes = b"", kind: int = 0x80000007) -> bytes:
    listed = b"".join(struct.pack("<H", number) + digest for number, digest in digests)
    return struct.pack("<III", 4, kind, len(digests)) + listed + struct.pack("<I", len(data)) + data


HEAD = head((0x000B, 32))
ACTION = event([(0x000B, b"d" * 32)], b"Booting")


def story(log: EventLog) -> list[str]:
    parts = [event.action or (event.image and str(event.image.path)) for event in log.events]
    return [part for part in parts if part]


def test_every_event_is_read_as_the_tool_reads_it() -> None:
    rows = told((SAMPLES / "event_log_agile.yaml").read_text(encoding="utf-8"))
    assert len(rows) > 25
    assert seen(EventLog.parse(AGILE)) == rows


@pytest.mark.parametrize("data", [AGILE, SHA1, IA32], ids=["agile", "sha1", "ia32"])
def test_the_log_tells_which_options_failed_first_and_what_really_ran(data: bytes) -> None:
    log = EventLog.parse(data)
    assert story(log) == STORY
    assert log.problems == []
    assert log.rest == b""
    assert bytes(log) == data
    variables = {event.variable.name: event.variable for event in log.events if event.variable}
    assert struct.unpack_from("<2H", variables["BootOrder"].data) == (3, 4)
    assert variables["BootOrder"].guid == "8be4df61-93ca-11d2-aa0d-00e098032b8c"
    assert LoadOption.parse(variables["Boot0003"].data).description == "Quarry"
    assert {event.separator for event in log.events if event.type_name == "EV_SEPARATOR"} == {0}
    assert [event.pcr for event in log.events if event.image] == [4, 4]


def test_both_forms_of_one_log_hold_the_same_events() -> None:
    agile, old = EventLog.parse(AGILE), EventLog.parse(SHA1)
    assert agile.algorithms == {"sha1": 20, "sha256": 32, "sha384": 48, "sha512": 64}
    assert old.algorithms == {"sha1": 20}
    assert [(event.pcr, event.type, event.digests["sha1"], event.data) for event in agile.events[1:]] == [
        (event.pcr, event.type, event.digests["sha1"], event.data) for event in old.events
    ]


def test_offsets_are_where_the_events_begin() -> None:
    log = EventLog.parse(HEAD + ACTION + ACTION)
    assert [event.offset for event in log.events] == [0, len(HEAD), len(HEAD) + len(ACTION)]


@pytest.mark.parametrize("data", [AGILE, SHA1], ids=["agile", "sha1"])
def test_each_cut_keeps_the_whole_events_and_names_the_tail(data: bytes) -> None:
    whole = EventLog.parse(data)
    ends = [event.offset for event in whole.events[1:]] + [len(data)]
    for length in range(ends[0], len(data)):
        log = EventLog.parse(data[:length])
        count = sum(end <= length for end in ends)
        assert log.events == whole.events[:count]
        assert log.rest == data[ends[count - 1] : length]
        assert bool(log.problems) == bool(log.rest)
        if log.problems:
            assert f"event at byte {ends[count - 1]}: " in log.problems[0]
            assert f"the last {len(log.rest)} bytes are not looked at" in log.problems[0]


def test_less_than_one_event_is_no_log() -> None:
    for length in range(EventLog.parse(AGILE).events[1].offset):
        with pytest.raises(FormatError, match="not a log of measurements"):
            EventLog.parse(AGILE[:length])


@pytest.mark.parametrize(
    ("data", "events", "what"),
    [
        (HEAD + bytes(16), 1, f"event at byte {len(HEAD)}: a count of 0 digests cannot be"),
        (HEAD + b"\xff" * 16, 1, "a count of 4294967295 digests cannot be"),
        (HEAD + ACTION + bytes(5), 2, f"event at byte {len(HEAD + ACTION)}: 5 bytes are too few"),
        (HEAD + event([(0x0077, b"d" * 32)]), 1, "does not say how long a digest of algorithm 0x0077 is"),
        (HEAD + ACTION[:-8], 1, "it ends before its length"),
        (HEAD + ACTION[:40], 1, "it ends within its digests"),
        (HEAD + ACTION[:13], 1, "it ends within its digests"),
        (HEAD + ACTION[:-1], 1, "its data are 7 bytes long, but only 6 are left"),
        (HEAD + event([(0x000B, b"d" * 32)] * 2), 2, "two digests of one algorithm"),
        (head() + ACTION, 2, "its list of 0 algorithms is empty or does not fit"),
        (head((0x000B, 32), count=9) + ACTION, 2, "its list of 9 algorithms is empty or does not fit"),
        (old_event(0, 3, b"Spec ID Event03\0") + ACTION, 2, "its list of 0 algorithms"),
        (head((0x000B, 20)) + event([(0x000B, b"d" * 20)]), 2, "digests of sha256 have 32 bytes, not 20"),
        (old_event(4, 7, b"x") + b"rest", 1, "event at byte 33: 4 bytes are too few"),
    ],
)
def test_damage_is_a_value(data: bytes, events: int, what: str) -> None:
    log = EventLog.parse(data)
    assert len(log.events) == events
    assert any(what in problem for problem in log.problems), log.problems
    assert bytes(log) == data


def test_an_algorithm_that_only_the_log_knows_is_read_by_the_size_it_gives() -> None:
    log = EventLog.parse(head((0x0077, 5)) + event([(0x0077, b"12345")], b"x"))
    assert log.events[1].digests == {"0x0077": b"12345"}
    assert log.problems == []


def test_what_follows_the_last_event_that_is_looked_at_is_said() -> None:
    log = EventLog.parse(HEAD + ACTION * (MAX_EVENTS + 1))
    assert len(log.events) == MAX_EVENTS
    assert f"more than {MAX_EVENTS} events" in log.problems[0]


def test_views_are_for_their_own_types_and_whole_data_only() -> None:
    name = "BootNext".encode("utf-16-le")
    data = uuid.UUID(int=7).bytes_le + struct.pack("<QQ", 8, 2) + name + b"\7\0"
    read = variable(data)
    assert read is not None
    assert (read.name, read.guid, read.data) == ("BootNext", str(uuid.UUID(int=7)), b"\7\0")
    assert variable(data[:-1]) is None
    assert variable(data[:31]) is None
    assert variable(bytes(16) + b"\xff" * 16) is None
    assert image(bytes(31)) is None
    assert image(struct.pack("<QQQQ", 1, 2, 3, 5) + bytes(4)) is None
    assert separator(b"\0\0\0") is None
    other = EventLog.parse(HEAD + event([(0x000B, b"d" * 32)], data, 0x12345678)).events[1]
    assert (other.variable, other.image, other.action, other.separator) == (None, None, None, None)
    assert other.type_name == "0x12345678"


def test_a_path_in_an_event_is_decoded_whatever_it_holds() -> None:
    data = struct.pack("<QQQQ", 0x1000, 0x2000, 0, 3) + b"\1\1\6"
    read = image(data)
    assert read is not None
    assert (read.location, read.length) == (0x1000, 0x2000)
    assert read.path.problems != []


def test_text_beyond_ascii_stays_printable() -> None:
    log = EventLog.parse(HEAD + event([(0x000B, b"d" * 32)], b"B\xe9\0more"))
    assert log.events[1].action == "B\N{REPLACEMENT CHARACTER}"


def test_the_names_are_the_tools_names() -> None:
    told_names = {row["type"] for row in told((SAMPLES / "event_log_agile.yaml").read_text(encoding="utf-8"))}
    assert told_names <= set(NAMES.values())
