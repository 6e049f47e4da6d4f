"""Which boot options the firmware called in this start, from its log of measurements.

TCG PC Client Platform Firmware Profile 1.05 §10.4: EV_EFI_ACTION says that an option is called and that it
returned; the EV_EFI_BOOT_SERVICES_APPLICATION after it names the program that was loaded for it.
"""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.formats import FormatError
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.event_data import EV_EFI_BOOT_SERVICES_APPLICATION
from bootwatch.formats.event_log import Event, EventLog
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.disk import hard_drive_identifier
from bootwatch.model.gap import Gap, Reason
from bootwatch.observe.machine import Machine, detail_of, reason_for

LOG = "sys/kernel/security/tpm0/binary_bios_measurements"
_CALLING = "Calling EFI Application from Boot Option"
_RETURNING = "Returning from EFI Application from Boot Option"
# Logs of real machines are below 100 KiB.
_MOST_BYTES = 4 << 20
# The last attempt is the one that started this system.
_MOST_ATTEMPTS = 64
_MOST_FURTHER = 8
_LONGEST_PATH = 1024


def read_boot_log(machine: Machine) -> tuple[tuple[Attempt, ...], list[Gap]]:
    """The options that were called, in order, and what could not be read. Nothing where there is no TPM."""
    try:
        data = machine.read(LOG, _MOST_BYTES + 1)
    except OSError as error:
        reason = reason_for(error)
        return (), [] if reason is Reason.ABSENT else [Gap("machine", LOG, reason, detail_of(error))]
    if not data:
        return (), []
    if len(data) > _MOST_BYTES:
        return (), [Gap("machine", LOG, Reason.LIMIT, f"larger than {_MOST_BYTES} bytes")]
    try:
        log = EventLog.parse(data)
    except FormatError as error:
        return (), [Gap("machine", LOG, Reason.DAMAGED, str(error))]
    if log.rest:  # what came last, and so what started, is not known
        return (), [Gap("machine", LOG, Reason.DAMAGED, log.problems[-1])]
    return _attempts(log.events), []


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
