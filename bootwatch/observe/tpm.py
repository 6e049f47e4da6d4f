"""How often the TPM was reset: at each start of the machine, whichever system it was that started.

TPM 2.0 part 3 §29.1, TPM2_ReadClock: a command without authorization that changes nothing. Its answer, all
numbers big-endian: u16 tag, u32 size of the whole, u32 response code; then TPMS_TIME_INFO (part 2 §10.11.6):
u64 time, u64 clock, u32 count of resets, u32 count of restarts, u8 whether the clock is safe.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from bootwatch.model.gap import Gap, Reason
from bootwatch.observe.machine import Machine, detail_of, reason_for

NODE = "dev/tpmrm0"
REQUEST = bytes.fromhex("8001 0000000a 00000181")
_HEADER = struct.Struct(">HII")
_ANSWER = struct.Struct(">HIIQQIIB")
_NO_SESSIONS = 0x8001
# The kernel gives an answer of up to a page; more than is expected shows that it isn't this answer.
_ROOM = 4096
# TPMs answer this within milliseconds; one that is busy with making a key is not worth waiting for.
_MOST_SECONDS = 2.0


@dataclass(frozen=True)
class TpmCounts:
    """``resets`` since the TPM was last cleared, ``restarts`` since the last reset (resumes from suspension
    or hibernation, in which it keeps its state); None where they can't be told."""

    resets: int | None = None
    restarts: int | None = None
    gaps: tuple[Gap, ...] = ()


def read_tpm(machine: Machine, node: str = NODE) -> TpmCounts:
    """Ask the TPM. One that isn't there is no gap: many machines have none."""
    try:
        answer = machine.exchange(node, REQUEST, _ROOM, _MOST_SECONDS)
    except OSError as error:
        reason = reason_for(error)
        return TpmCounts() if reason is Reason.ABSENT else _unknown(node, reason, detail_of(error))
    return _counts(node, answer)


def _counts(node: str, answer: bytes) -> TpmCounts:
    tag, size, code = _HEADER.unpack_from(answer.ljust(_HEADER.size, b"\0"))
    if tag != _NO_SESSIONS or size != len(answer):
        return _unknown(node, Reason.DAMAGED, f"its answer of {len(answer)} bytes is not a TPM 2.0's")
    if code:
        return _unknown(node, Reason.UNREADABLE, f"it refuses to tell its clock: response code 0x{code:X}")
    if size != _ANSWER.size:
        return _unknown(node, Reason.DAMAGED, f"its answer has {size} bytes, not {_ANSWER.size}")
    *_, resets, restarts, _ = _ANSWER.unpack(answer)
    return TpmCounts(resets, restarts)


def _unknown(node: str, reason: Reason, detail: str) -> TpmCounts:
    return TpmCounts(gaps=(Gap("machine", node, reason, detail),))
