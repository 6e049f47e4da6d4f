"""Records how a real guest's kernel shows the disks in each place, and what else the firmware tells a system.

    python -m tests.firmware.starts.record_sysfs

writes samples/sysfs.json anew, for x64 and for AArch64: of each disk its name, where its link in
/sys/class/block leads, and the small files there that bootwatch reads; and the variables that the firmware
makes afresh at each start (volatile ones, which its store does not hold).
"""

import base64
import json
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.firmware import tool
from tests.firmware.disk import MIB, Disk, Partition
from tests.firmware.drive import Drive
from tests.firmware.guest import Guest
from tests.firmware.programs import Architecture
from tests.firmware.starts import small_guest
from tests.firmware.starts.places import PLACES, SAMPLE, Place, places

SCRIPT = Path(__file__).with_name("look_at_sysfs.py")
OWN = {"vda": "virtio0", "vdb": "virtio1"}  # the guest's own disks hang here

Record = dict[str, Any]


def record(folder: Path) -> dict[str, Record]:
    """Starts a guest of each sort once with a disk in each place; what its own kernel shows."""
    made: dict[str, Record] = {}
    for architecture, look in ((Architecture.X64, _in_guest), (Architecture.AA64, _in_small_guest)):
        own = folder / architecture
        own.mkdir()
        made[architecture] = look(own)
    return made


def _in_guest(folder: Path) -> Record:
    own = OWN.values()
    drives = [_drive(folder, place) for place in places(Architecture.X64) if place.name not in own]
    with Guest.started(folder, tuple(drives)) as guest:
        guest.put("/run/look.py", SCRIPT.read_bytes())
        guest.check("udevadm settle")
        seen = json.loads(guest.check("python3 /run/look.py"))
    return {"variables": seen["variables"], "places": _by_place(seen["disks"], OWN)}


def _in_small_guest(folder: Path) -> Record:
    drives = tuple(_drive(folder, place) for place in places(Architecture.AA64))
    events = list(small_guest.seen(folder, drives))
    values = {event["variable"]: bytes.fromhex(event["value"]) for event in events if "variable" in event}
    variables = {name: base64.b64encode(value).decode() for name, value in sorted(values.items())}
    return {"variables": variables, "places": _by_place([one for one in events if "link" in one], {})}


def _drive(folder: Path, place: Place) -> Drive:
    # A size of its own tells each disk, whatever the kernel calls it.
    disk = Disk((Partition(size=_size(place) - 2 * MIB),))
    return place.drive(disk.write(folder / f"{place.name}.raw"))


def _size(place: Place) -> int:
    return (6 + PLACES.index(place)) * MIB


def _by_place(disks: list[Record], own: dict[str, str]) -> dict[str, Record]:
    """Sizes and partitions are each disk's own; the record leaves them out."""
    by_size = {_size(place): place.name for place in PLACES}
    found = {}
    for disk in disks:
        if "/virtual/" in disk["link"]:
            continue
        size = int(disk["files"].pop("size")) * 512
        found[own.get(disk["name"]) or by_size[size]] = disk
    return dict(sorted(found.items()))


def lasting(place: dict[str, Any]) -> dict[str, Any]:
    """The record without names and numbers that the kernel gives away in the order of finding."""
    link = re.sub(
        r"(virtio|host|target|ata|usb|nvme)\d+(:\d+)*|/\d+:\d+:|/\d+-|[hsv]d[a-z]+", "", place["link"]
    )
    link = re.sub(r"nvme\d*n", "n", link)
    files = {name: text for name, text in place["files"].items() if name != "dev"}
    return {"link": link, "files": files, "ports": sorted(place["ports"].values())}


def main() -> int:
    """Records anew."""
    with tempfile.TemporaryDirectory(prefix="sysfs.") as folder:
        found = record(Path(folder))
    emulator = tool.run(["qemu-system-x86_64", "--version"]).decode().splitlines()[0]
    about = f"Made by python -m tests.firmware.starts.record_sysfs with {emulator}"
    SAMPLE.parent.mkdir(exist_ok=True)
    SAMPLE.write_text(json.dumps({"about": about, **found}, indent=1) + "\n")
    for architecture, made in found.items():
        print(f"{SAMPLE}: {len(made['places'])} places of {architecture}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
