"""The firmware's own text of device paths: one start hands any number of them to its protocol."""

import struct
from collections.abc import Sequence
from pathlib import Path

from tests.firmware import firmware
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Drive
from tests.firmware.machine import Machine
from tests.firmware.programs import program


def printed(folder: Path, paths: Sequence[bytes]) -> list[str]:
    """What the firmware prints for each path (UEFI 2.10 §10.6.2, DisplayOnly and AllowShortcuts false). A
    lone surrogate, which no Python string should hold, comes back as U+FFFD."""
    records = b"".join(struct.pack("<I", len(path)) + path for path in paths)
    volume = Fat({firmware.X64.default_file: program("texts"), "\\paths.bin": records})
    machine = Machine(folder, (Drive(Disk((Partition(content=volume),)).write(folder / "texts.raw")),))
    texts = [event["path"] for event in machine.run() if event["event"] == "text"]
    # The firmware dies of a path that makes it read too far: the answers end there.
    assert len(texts) == len(paths), f"no answer to {paths[len(texts)].hex()}"
    return [text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace") for text in texts]
