"""How fast load options are read, beside virt-firmware's own reader in the same run.

    python -m tests.bench options

Options a second for both, and how many times as long ours takes (below 1: faster). A named path,
what the option is for, and its text are read too, as a snapshot does; virt-firmware does the same.
"""

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from virt.firmware.efi import bootentry, devpath, ucs16

from bootwatch.formats.load_option import LoadOption
from tests.bench.figure import Figure

SAMPLES = Path(__file__).parents[1] / "formats" / "samples" / "device_path_text.json"
PATHS = ("sata-hd-file", "nvme-hd-file", "hd-file", "mac-ipv4", "fv-file")
COUNT, ROUNDS = 5000, 5
LEAST = 10_000


def options() -> list[bytes]:
    """As a machine has them: full and short paths, network and built-in programs, some with data."""
    recorded = json.loads(SAMPLES.read_text(encoding="utf-8"))["paths"]
    paths = [devpath.DevicePath(bytes.fromhex(recorded[name]["bytes"])) for name in PATHS]
    title = ucs16.from_string("Fernwick Linux")
    kinds = [
        bytes(bootentry.BootEntry(attr=1, title=title, devicepath=path, optdata=data))
        for path in paths
        for data in (None, b"QY")
    ]
    return kinds * (COUNT // len(kinds))


def seconds(read: Callable[[bytes], object], given: list[bytes]) -> float:
    """The best of some rounds over all of them, in seconds."""
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.perf_counter()
        for data in given:
            read(data)
        best = min(best, time.perf_counter() - began)
    return best


def ours(data: bytes) -> object:
    """What a snapshot asks of an option."""
    option = LoadOption.parse(data)
    return option.description, option.path.hard_drive(), option.path.file(), str(option.path)


def theirs(data: bytes) -> object:
    """The same of virt-firmware."""
    entry = bootentry.BootEntry(data)
    return str(entry.title), str(entry.devicepath)


def figures() -> Iterator[Figure]:
    """The ratios; the limit stands for fewer than 10,000 options a second."""
    given = options()
    parsing = seconds(LoadOption.parse, given), seconds(bootentry.BootEntry, given)
    whole = seconds(ours, given), seconds(theirs, given)
    rates = [f"{len(given) / time:,.0f}/s" for time in (*parsing, *whole)]
    most = len(given) / LEAST / parsing[1]
    yield Figure("load options parsed", rates[0], "virt-firmware", rates[1], parsing[0] / parsing[1], most)
    yield Figure("... with path and text", rates[2], "virt-firmware", rates[3], whole[0] / whole[1], None)
