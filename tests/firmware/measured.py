"""A start with a TPM: what the firmware wrote to its log, and what the programs it ran said themselves.

    python -m tests.firmware.measured

records it for the tests that start no machine, into tests/formats/samples: event_log_agile.bin and
event_log_sha1.bin (x64), event_log_ia32.bin, and event_log_agile.yaml, which is what tpm2_eventlog
(tpm2-tools) says of the first.
"""

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.firmware import firmware, tool, tpm
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Drive
from tests.firmware.firmware import Firmware
from tests.firmware.machine import Machine
from tests.firmware.programs import program
from tests.firmware.variables import file_on, load_option

SAMPLES = Path(__file__).parents[1] / "formats" / "samples"
PARTITION = "11111111-1111-4111-8111-111111111111"
QUARRY, FERNWICK = "\\EFI\\quarry\\loader.efi", "\\EFI\\fernwick\\loader.efi"
ENTRIES = {3: ("Quarry", QUARRY, "leaver"), 4: ("Fernwick Linux", FERNWICK, "measured")}


@dataclass(frozen=True)
class Start:
    """The two forms of the log, the options as they were stored, and the paths that the programs named."""

    agile: bytes
    old: bytes
    options: dict[str, bytes]
    paths: list[str]


def start(folder: Path, of: Firmware) -> Start:
    """Starts a machine whose first entry fails and whose second one reads the log."""
    files = {path: program(name, of.architecture) for _, path, name in ENTRIES.values()}
    disk = Disk((Partition(PARTITION, content=Fat(files)),))
    options = {
        f"Boot{number:04X}": load_option(title, file_on(disk, 1, path), data=b"QY")
        for number, (title, path, _) in ENTRIES.items()
    }
    with tpm.running(folder) as arguments:
        machine = Machine(folder, (Drive(disk.write(folder / "disk.raw")),), of, arguments=arguments)
        with machine.variables() as variables:
            for name, option in options.items():
                variables.set(name, option)
            variables.order = list(ENTRIES)
        events = machine.run()
    logs = {event["format"]: bytes.fromhex(event["data"]) for event in events if event["event"] == "log"}
    paths = [event["path"] for event in events if "path" in event]
    return Start(logs["agile"], logs["old"], options, paths)


def main() -> int:
    """Records anew."""
    with tempfile.TemporaryDirectory(prefix="measured.") as x64, tempfile.TemporaryDirectory() as ia32:
        usual, narrow = start(Path(x64), firmware.X64), start(Path(ia32), firmware.IA32)
    agile = SAMPLES / "event_log_agile.bin"
    agile.write_bytes(usual.agile)
    (SAMPLES / "event_log_sha1.bin").write_bytes(usual.old)
    (SAMPLES / "event_log_ia32.bin").write_bytes(narrow.agile)
    (SAMPLES / "event_log_agile.yaml").write_bytes(tool.run(["tpm2_eventlog", agile]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
