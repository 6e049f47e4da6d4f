"""The log of a start with a TPM: bootwatch's reading against tpm2_eventlog and the programs that ran."""

import json
import struct
from pathlib import Path

import pytest

from bootwatch.formats.event_log import EventLog
from tests.firmware import firmware, tool
from tests.firmware.firmware import Firmware
from tests.firmware.measured import start
from tests.formats.told import seen, told

pytestmark = [pytest.mark.firmware, pytest.mark.whole]
CALLING = "Calling EFI Application from Boot Option"
RETURNING = "Returning from EFI Application from Boot Option"


@pytest.mark.parametrize("of", [firmware.X64, firmware.IA32], ids=["x64", "ia32"])
def test_the_log_says_what_the_programs_say(tmp_path: Path, of: Firmware) -> None:
    started = start(tmp_path, of)
    agile, old = EventLog.parse(started.agile), EventLog.parse(started.old)
    assert agile.problems == old.problems == []
    assert [(event.pcr, event.type, event.data, event.digests["sha1"]) for event in agile.events[1:]] == [
        (event.pcr, event.type, event.data, event.digests["sha1"]) for event in old.events
    ]
    variables = {event.variable.name: event.variable.data for event in agile.events if event.variable}
    assert struct.unpack_from("<2H", variables["BootOrder"]) == (3, 4)
    assert started.options.items() <= variables.items()
    story = [event.action or (event.image and str(event.image.path)) for event in agile.events]
    quarry, fernwick = started.paths
    assert [part for part in story if part] == [CALLING, quarry, RETURNING, CALLING, fernwick], json.dumps(
        story
    )


def test_the_tool_reads_the_same(tmp_path: Path) -> None:
    log = tmp_path / "log.bin"
    log.write_bytes(start(tmp_path, firmware.X64).agile)
    assert seen(EventLog.parse(log.read_bytes())) == told(tool.run(["tpm2_eventlog", log]).decode())
