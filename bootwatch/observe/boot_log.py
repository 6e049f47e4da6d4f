"""Which boot options the firmware called in this start, and in which order it would have, from its log of
measurements.

TCG PC Client Platform Firmware Profile 1.05 §10.4: EV_EFI_ACTION says that an option is called and that it
returned; the EV_EFI_BOOT_SERVICES_APPLICATION after it names the program that was loaded for it.
EV_EFI_VARIABLE_BOOT and EV_EFI_VARIABLE_BOOT2 hold BootOrder as the firmware read it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass

from bootwatch.formats import FormatError
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.event_data import (
    EV_EFI_BOOT_SERVICES_APPLICATION,
    EV_EFI_VARIABLE_BOOT,
    EV_EFI_VARIABLE_BOOT2,
)
from bootwatch.formats.event_log import Event, EventLog
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.disk import hard_drive_identifier
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.variable import GLOBAL
from bootwatch.observe.machine import Machine, detail_of, reason_for

LOG = "sys/kernel/security/tpm0/binary_bios_measurements"
_CALLING = "Calling EFI Application from Boot Option"
_RETURNING = "Returning from EFI Application from Boot Option"
# Logs of real machines are below 100 KiB.
_MOST_BYTES = 4 << 20
# The last attempt is the one that started this system.
_MOST_ATTEMPTS = 64
_MOST_FURTHER = 8
_MOST_ORDERED = 1024
_BOOT_VARIABLES = frozenset({EV_EFI_VARIABLE_BOOT, EV_EFI_VARIABLE_BOOT2})
_LONGEST_PATH = 1024


@dataclass(frozen=True)
class BootLog:
    """The options that were called, in order; the numbers in BootOrder as the firmware read it, None where
    its log doesn't say; what could not be read."""

    attempts: tuple[Attempt, ...] = ()
    order_seen: tuple[int, ...] | None = None
    gaps: tuple[Gap, ...] = ()


def read_boot_log(machine: Machine) -> BootLog:
    """What the firmware's log says of this start. Nothing where there is no TPM."""
    try:
        data = machine.read(LOG, _MOST_BYTES + 1)
    except OSError as error:
        reason = reason_for(error)
        return BootLog() if reason is Reason.ABSENT else _unread(reason, detail_of(error))
    if not data:
        return BootLog()
    if len(data) > _MOST_BYTES:
        return _unread(Reason.LIMIT, f"larger than {_MOST_BYTES} bytes")
    try:
        log = EventLog.parse(data)
    except FormatError as error:
        return _unread(Reason.DAMAGED, str(error))
    if log.rest:  # what came last, and so what started, is not known
        return _unread(Reason.DAMAGED, log.problems[-1])
    return BootLog(_attempts(log.events), _order_seen(log.events))


def _unread(reason: Reason, detail: str) -> BootLog:
    return BootLog(gaps=(Gap("machine", LOG, reason, detail),))


def _order_seen(events: Iterable[Event]) -> tuple[int, ...] | None:
    """By the last time that it was measured, should the firmware have changed it on its way."""
    data = None
    for event in events:
        variable = event.variable if event.type in _BOOT_VARIABLES else None
        if variable and (variable.name, variable.guid) == ("BootOrder", GLOBAL):
            data = variable.data
    if data is None:
        return None
    count = min(len(data) // 2, _MOST_ORDERED)
    return struct.unpack_from(f"<{count}H", data)


def _attempts(events: Iterable[Event]) -> tuple[Attempt, ...]:
    programs: list[list[Event]] = []
    returned: list[bool] = []
    uncalled: list[Event] = []
    for event in events:
        if event.type == EV_EFI_BOOT_SERVICES_APPLICATION:
            (programs[-1] if programs else uncalled).append(event)
        elif event.action == _CALLING:
            programs.append([])
            returned.append(False)
        elif event.action == _RETURNING and returned:
            returned[-1] = True
    if not programs and len(uncalled) == 1:
        # This firmware doesn't say when it calls an option; where only one program was loaded, that one ran.
        programs, returned = [uncalled], [False]
    newest = slice(-_MOST_ATTEMPTS, None)
    return tuple(_attempt(*both) for both in zip(programs[newest], returned[newest], strict=True))


def _attempt(programs: list[Event], returned: bool) -> Attempt:
    places = [_place(event) for event in programs[: 1 + _MOST_FURTHER]]
    return Attempt(places[0] if places else None, tuple(places[1:]), returned)


def _place(event: Event) -> Origin:
    path = event.image.path if event.image else DevicePath.parse(b"")
    drive, file = path.hard_drive(), path.file()
    return Origin(
        hard_drive_identifier(drive.signature_type, drive.signature, drive.partition_number)
        if drive
        else None,
        file if file and len(file) <= _LONGEST_PATH else None,
    )
