"""The TPM's counts: answers packed by hand from TPM 2.0 parts 2 and 3, and devices that a terminal plays.

tests/firmware/test_tpm_counts.py asks a TPM that works.
"""

from __future__ import annotations

import os
import struct
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from bootwatch.model.gap import Gap, Reason
from bootwatch.observe import tpm
from bootwatch.observe.machine import Machine
from bootwatch.observe.tpm import NODE, TpmCounts, read_tpm

# TPM_ST_NO_SESSIONS, TPM_RC_SUCCESS, time and clock in milliseconds, 61 resets, 3 restarts, safe.
ANSWER = struct.pack(">HIIQQIIB", 0x8001, 35, 0, 8_123, 900_456, 61, 3, 1)
# TPM_CC_ReadClock without sessions: ten bytes.
REQUEST = struct.pack(">HII", 0x8001, 10, 0x181)


@pytest.fixture
def device() -> Iterator[tuple[str, int]]:
    """A character device that passes bytes on as they are: its path below /, and the end that answers."""
    far, near = os.openpty()
    tty.setraw(near)
    yield os.ttyname(near).lstrip("/"), far
    os.close(near)
    os.close(far)


def recorded(folder: Path, answer: bytes) -> TpmCounts:
    (folder / "dev").mkdir()
    (folder / NODE).write_bytes(answer)
    return read_tpm(Machine(folder))


def test_the_request_is_sent_and_its_answer_read(device: tuple[str, int]) -> None:
    node, far = device
    os.write(far, ANSWER)
    assert read_tpm(Machine("/"), node) == TpmCounts(61, 3)
    assert os.read(far, 64) == REQUEST


def test_device_that_hangs_is_a_gap(device: tuple[str, int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tpm, "_MOST_SECONDS", 0.01)
    counts = read_tpm(Machine("/"), device[0])
    assert counts == TpmCounts(
        gaps=(Gap("machine", device[0], Reason.UNREADABLE, "no answer within 0.01 seconds"),)
    )


def test_machine_without_a_tpm(tmp_path: Path) -> None:
    assert read_tpm(Machine(tmp_path)) == TpmCounts()


def test_recorded_answer_is_read_and_not_written(tmp_path: Path) -> None:
    assert recorded(tmp_path, ANSWER) == TpmCounts(61, 3)
    assert (tmp_path / NODE).read_bytes() == ANSWER


@pytest.mark.parametrize(
    ("answer", "reason", "detail"),
    [
        (b"", Reason.DAMAGED, "its answer of 0 bytes is not a TPM 2.0's"),
        (ANSWER[:-1], Reason.DAMAGED, "its answer of 34 bytes is not a TPM 2.0's"),
        (ANSWER + b"\0", Reason.DAMAGED, "its answer of 36 bytes is not a TPM 2.0's"),
        # A TPM 1.2 answers what it doesn't know with TPM_TAG_RSP_COMMAND.
        (struct.pack(">HII", 0x00C4, 10, 0x1E), Reason.DAMAGED, "its answer of 10 bytes is not a TPM 2.0's"),
        (struct.pack(">HII", 0x8001, 10, 0), Reason.DAMAGED, "its answer has 10 bytes, not 35"),
        # TPM_RC_INITIALIZE: nobody has started it up.
        (
            struct.pack(">HII", 0x8001, 10, 0x100),
            Reason.UNREADABLE,
            "it refuses to tell its clock: response code 0x100",
        ),
    ],
)
def test_other_answers_are_gaps(tmp_path: Path, answer: bytes, reason: Reason, detail: str) -> None:
    assert recorded(tmp_path, answer) == TpmCounts(gaps=(Gap("machine", NODE, reason, detail),))


@pytest.mark.parametrize("make", ["folder", "pipe", "leaving"])
def test_what_is_no_device_is_a_gap(tmp_path: Path, make: str) -> None:
    node = tmp_path / NODE
    node.parent.mkdir()
    if make == "folder":
        node.mkdir()
    elif make == "pipe":
        os.mkfifo(node)
    else:
        node.symlink_to("../../outside")
    counts = read_tpm(Machine(tmp_path))
    assert (counts.resets, [gap.reason for gap in counts.gaps]) == (None, [Reason.UNREADABLE])


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give rights up")
def test_device_that_may_not_be_opened_is_a_gap(device: tuple[str, int]) -> None:
    os.chmod("/" + device[0], 0o600)
    os.seteuid(65534)
    try:
        counts = read_tpm(Machine("/"), device[0])
    finally:
        os.seteuid(0)
    assert [gap.reason for gap in counts.gaps] == [Reason.DENIED]
