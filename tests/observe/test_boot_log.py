"""Which boot options the firmware called, and the order that it read, by logs that real firmware wrote.

The samples are a start of OVMF with a TPM whose first entry came back and whose second one ran; the programs
said over the serial port from where they were loaded (tests/firmware/measured.py).
"""

from __future__ import annotations

import itertools
import os
import struct
import uuid
from pathlib import Path

import pytest

from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.snapshot import Circumstance, Moment
from bootwatch.observe.boot_log import LOG, BootLog, read_boot_log
from bootwatch.observe.machine import Machine
from tests.formats.tools import SAMPLES
from tests.judge.looks import look
from tests.roots import GLOBAL, Root

PARTITION = "gpt:11111111-1111-4111-8111-111111111111"
QUARRY = Origin(PARTITION, "\\EFI\\quarry\\loader.efi")
FERNWICK = Origin(PARTITION, "\\EFI\\fernwick\\loader.efi")
CALLING = b"Calling EFI Application from Boot Option"
RETURNING = b"Returning from EFI Application from Boot Option"
ACTION, APPLICATION = 0x80000007, 0x80000003
VARIABLE_BOOT, VARIABLE_BOOT2 = 0x80000002, 0x8000000C


def event(kind: int, data: bytes, pcr: int = 4) -> bytes:
    """TCG_PCClientPCREvent: PC Client Platform Firmware Profile 1.05 §10.2.1."""
    return struct.pack("<II20sI", pcr, kind, bytes(20), len(data)) + data


def loaded(file: str) -> bytes:
    """UEFI_IMAGE_LOAD_EVENT (§10.2.3) of a program whose path is a file node alone."""
    name = file.encode("utf-16-le") + b"\0\0"
    path = struct.pack("<BBH", 4, 4, 4 + len(name)) + name + b"\x7f\xff\x04\0"
    return event(APPLICATION, struct.pack("<QQQQ", 0x1000, 0x2000, 0, len(path)) + path)


def order(*numbers: int, kind: int = VARIABLE_BOOT, namespace: str = GLOBAL, tail: bytes = b"") -> bytes:
    """UEFI_VARIABLE_DATA (§10.4.1) of BootOrder."""
    name, data = "BootOrder".encode("utf-16-le"), struct.pack(f"<{len(numbers)}H", *numbers) + tail
    head = uuid.UUID(namespace).bytes_le + struct.pack("<QQ", len(name) // 2, len(data))
    return event(kind, head + name + data, pcr=1)


def read(folder: Path, data: bytes) -> BootLog:
    (folder / LOG).parent.mkdir(parents=True)
    (folder / LOG).write_bytes(data)
    return read_boot_log(Machine(folder))


@pytest.mark.parametrize("form", ["agile", "sha1", "ia32"])
def test_first_option_came_back_and_the_second_ran(tmp_path: Path, form: str) -> None:
    data = (SAMPLES / f"event_log_{form}.bin").read_bytes()
    log = read(tmp_path, data)
    assert log.attempts == (Attempt(QUARRY, (), True), Attempt(FERNWICK))
    assert log.gaps == ()
    # event_log_agile.yaml, by another reader: VariableData: "03000400000001000200"
    assert log.order_seen and log.order_seen[:2] == (3, 4)
    assert form != "agile" or log.order_seen == (3, 4, 0, 1, 2)


def test_snapshot_keeps_it_and_gives_it_back(hall: Root) -> None:
    (hall.folder / LOG).parent.mkdir(parents=True)
    (hall.folder / LOG).write_bytes((SAMPLES / "event_log_agile.bin").read_bytes())
    snapshot = look(hall)
    assert [attempt.loader for attempt in snapshot.circumstance.attempts] == [QUARRY, FERNWICK]
    assert snapshot.circumstance.order_seen == (3, 4, 0, 1, 2)
    assert Circumstance.from_json(snapshot.circumstance.to_json()) == snapshot.circumstance


def test_row_from_before_the_log_was_read_still_loads() -> None:
    document = Circumstance("b", Moment.BOOT, "2026-11-25T07:12:00Z").to_json()
    del document["attempts"], document["order_seen"]
    loaded = Circumstance.from_json(document)
    assert (loaded.attempts, loaded.order_seen) == ((), None)


def test_no_tpm_is_no_gap(tmp_path: Path) -> None:
    assert read_boot_log(Machine(tmp_path)) == BootLog()
    assert read(tmp_path, b"") == BootLog()


@pytest.mark.parametrize(
    ("data", "detail"),
    [
        (b"\0" * 31, "not a log of measurements: 31 bytes are too few"),
        (event(ACTION, CALLING) + loaded("\\a.efi") + b"\1" * 40, "its data are 16843009 bytes long"),
    ],
)
def test_damaged_log_says_nothing_of_what_ran(tmp_path: Path, data: bytes, detail: str) -> None:
    log = read(tmp_path, data)
    assert (log.attempts, log.order_seen) == ((), None)
    assert [(gap.kind, gap.name, gap.reason.value) for gap in log.gaps] == [("machine", LOG, "damaged")]
    assert detail in log.gaps[0].detail


def test_log_larger_than_what_is_read_is_a_gap(tmp_path: Path) -> None:
    data = event(ACTION, CALLING) + event(0x0D, bytes(4 << 20))
    assert [gap.reason.value for gap in read(tmp_path, data).gaps] == ["limit"]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give rights up")
def test_log_that_may_not_be_read_is_a_gap(tmp_path: Path) -> None:
    read(tmp_path, b"")
    (tmp_path / LOG).chmod(0)
    for folder in itertools.takewhile(lambda folder: folder != Path("/tmp"), (tmp_path, *tmp_path.parents)):
        folder.chmod(0o755)
    os.seteuid(65534)
    try:
        log = read_boot_log(Machine(tmp_path))
    finally:
        os.seteuid(0)
    assert (log.attempts, [(gap.name, gap.reason.value) for gap in log.gaps]) == ((), [(LOG, "denied")])


def test_what_the_loader_loaded_is_not_what_the_firmware_started(tmp_path: Path) -> None:
    data = b"".join(
        [
            event(ACTION, b"Booting", pcr=5),
            loaded("\\before.efi"),
            event(ACTION, CALLING),
            event(4, bytes(4)),
            loaded("\\EFI\\fernwick\\first.efi"),
            loaded("\\EFI\\fernwick\\second.efi"),
            event(ACTION, b"Exit Boot Services Invocation", pcr=5),
        ]
    )
    first, second = Origin(None, "\\EFI\\fernwick\\first.efi"), Origin(None, "\\EFI\\fernwick\\second.efi")
    assert read(tmp_path, data).attempts == (Attempt(first, (second,)),)


def test_option_whose_file_is_missing_was_called_and_loaded_nothing(tmp_path: Path) -> None:
    data = event(ACTION, CALLING) + event(ACTION, RETURNING) + event(ACTION, CALLING) + loaded("\\a.efi")
    assert read(tmp_path, data).attempts == (Attempt(None, (), True), Attempt(Origin(None, "\\a.efi")))


@pytest.mark.parametrize(("programs", "ran"), [(1, (Attempt(Origin(None, "\\0.efi")),)), (2, ())])
def test_firmware_that_names_no_calls(tmp_path: Path, programs: int, ran: tuple[Attempt, ...]) -> None:
    """Of several programs, the first may have come back, or have loaded the second."""
    assert read(tmp_path, b"".join(loaded(f"\\{number}.efi") for number in range(programs))).attempts == ran


def test_only_the_newest_attempts_are_kept(tmp_path: Path) -> None:
    data = b"".join(event(ACTION, CALLING) + loaded(f"\\{number}.efi") for number in range(100))
    assert [attempt.loader for attempt in read(tmp_path, data).attempts] == [
        Origin(None, f"\\{number}.efi") for number in range(36, 100)
    ]


def test_program_with_damaged_data_was_started_from_an_unknown_place(tmp_path: Path) -> None:
    data = event(ACTION, CALLING) + event(APPLICATION, b"short")
    assert read(tmp_path, data).attempts == (Attempt(Origin(None, None)),)


@pytest.mark.parametrize(
    ("data", "seen"),
    [
        (order(2, 0), (2, 0)),
        (order(2, 0, kind=VARIABLE_BOOT2), (2, 0)),
        # The firmware changed it before it went by it.
        (order(2, 0) + event(ACTION, CALLING) + order(0, 2), (0, 2)),
        (order(), ()),
        (order(7, tail=b"\x01"), (7,)),
        (order(2, 0, namespace="11111111-1111-4111-8111-111111111111"), None),
        (order(2, 0, kind=0x80000001), None),
        (event(VARIABLE_BOOT, b"short"), None),
        (order(*range(5000)), tuple(range(1024))),
    ],
    ids=[
        *("as-written", "second-form", "changed", "empty", "odd", "of-a-vendor", "of-another-sort"),
        *("damaged", "endless"),
    ],
)
def test_order_as_the_firmware_read_it(tmp_path: Path, data: bytes, seen: tuple[int, ...] | None) -> None:
    assert read(tmp_path, event(ACTION, b"Booting", pcr=5) + data).order_seen == seen
