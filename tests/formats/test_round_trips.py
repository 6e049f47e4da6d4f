"""Well-formed values of every format: read without complaint, and put together again from what was read."""

import contextlib
import struct

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bootwatch.formats import FormatError, signature_list
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.event_log import EventLog
from bootwatch.formats.load_option import LoadOption

from .strategies_logs import SIZES, any_logs, well_formed_logs
from .strategies_options import any_options, well_formed_options
from .strategies_paths import any_paths, well_formed_paths
from .strategies_signatures import any_databases, well_formed_databases

FEW = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
NUMBERS = {"sha1": 0x0004, "sha256": 0x000B, "sha384": 0x000C, "sha512": 0x000D, "sm3_256": 0x0012}
HEAD_MARK = b"Spec ID Event03\0"


@FEW
@given(well_formed_paths)
def test_device_paths(data: bytes) -> None:
    path = DevicePath.parse(data)
    assert path.problems == []
    assert path.is_complete
    nodes = b"".join(map(bytes, path.nodes))
    assert data.startswith(nodes)
    assert data[len(nodes) :] in (bytes.fromhex("7fff0400"), bytes.fromhex("7fff0600abcd"))
    assert bytes(path) == data


@FEW
@given(well_formed_options)
def test_load_options(data: bytes) -> None:
    option = LoadOption.parse(data)
    assert option.problems == []
    assert option.is_acceptable
    head = struct.pack("<IH", option.attributes, len(bytes(option.path)))
    text = option.description.encode("utf-16-le") + b"\0\0"
    assert head + text + bytes(option.path) + option.optional_data == data


@FEW
@given(well_formed_databases)
def test_signature_databases(data: bytes) -> None:
    lists = signature_list.parse(data)
    assert lists.problems == []
    rebuilt, at = b"", 0
    for listed in lists:
        signatures = b"".join(item.owner.bytes_le + item.data for item in listed.signatures)
        size = 28 + len(listed.header) + len(signatures)
        # Where there is no signature, only the bytes themselves know how large one would be.
        each = 16 + len(listed.signatures[0].data) if listed.signatures else 0
        each = each or struct.unpack_from("<I", data, at + 24)[0]
        rebuilt += listed.type.bytes_le + struct.pack("<III", size, len(listed.header), each)
        rebuilt += listed.header + signatures
        at += size
    assert rebuilt == data


@pytest.mark.long
@FEW
@given(well_formed_logs)
def test_logs(data: bytes) -> None:
    log = EventLog.parse(data)
    assert log.problems == []
    assert log.rest == b""
    first, *others = log.events
    agile = first.type == 3 and first.data.startswith(HEAD_MARK)
    rebuilt = (
        struct.pack("<II20sI", first.pcr, first.type, first.digests["sha1"], len(first.data)) + first.data
    )
    for event in others:
        if agile:
            listed = b"".join(
                struct.pack("<H", NUMBERS[name]) + digest for name, digest in event.digests.items()
            )
            rebuilt += struct.pack("<III", event.pcr, event.type, len(event.digests)) + listed
        else:
            rebuilt += struct.pack("<II", event.pcr, event.type) + event.digests["sha1"]
        rebuilt += struct.pack("<I", len(event.data)) + event.data
    assert rebuilt == data
    assert NUMBERS.keys() >= log.algorithms.keys() and SIZES.keys() == set(NUMBERS.values())


@FEW
@given(any_paths)
def test_any_path_has_a_text(data: bytes) -> None:
    path = DevicePath.parse(data)
    assert bytes(path) == data
    assert data.startswith(b"".join(map(bytes, path.nodes)))
    assert data.endswith(path.rest)
    str(path).encode("utf-8")
    path.hard_drive()
    file = path.file()
    assert file is None or file.startswith("\\")


@pytest.mark.long
@FEW
@given(any_options() | st.binary(max_size=60))
def test_any_option_has_a_description(data: bytes) -> None:
    with contextlib.suppress(FormatError):
        option = LoadOption.parse(data)
        assert bytes(option) == data
        "".join([*option.attribute_names, option.description, option.optional_data_text or ""]).encode(
            "utf-8"
        )


@FEW
@given(any_databases)
def test_any_database_is_a_list_or_a_format_error(data: bytes) -> None:
    with contextlib.suppress(FormatError):
        lists = signature_list.parse(data)
        assert bytes(lists) == data
        for listed in lists:
            assert listed.type_name is None or listed.type_name.isprintable()
            assert all(isinstance(item.is_version_record, bool) for item in listed.signatures)


@pytest.mark.long
@FEW
@given(any_logs())
def test_any_log_is_events_or_a_format_error(data: bytes) -> None:
    with contextlib.suppress(FormatError):
        log = EventLog.parse(data)
        assert data.endswith(log.rest)
        for event in log.events:
            (event.action or event.type_name).encode("utf-8")
            assert event.image is None or str(event.image.path) is not None
            assert event.variable is None or event.variable.name.encode("utf-8") is not None
            assert event.separator is None or event.separator >= 0
