"""Records how a real guest's kernel shows the disks in each place, and what else the firmware tells a system.

    python -m tests.firmware.starts.record_sysfs

writes samples/sysfs.json anew: of each disk its name, where its link in /sys/class/block leads, and the small
files there that bootwatch reads; and the variables that the firmware makes afresh at each start (volatile
ones, which its store does not hold).
"""

import json
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.firmware import tool
from tests.firmware.disk import MIB, Disk, Partition
from tests.firmware.guest import Guest
from tests.firmware.starts.places import PLACES, SAMPLE, Place

SCRIPT = Path(__file__).with_name("look_at_sysfs.py")
OWN = {"virtio0", "virtio1"}  # the guest's own disks hang here


def record(folder: Path) -> dict[str, Any]:
    """Starts the guest once with a disk in each place; what its own kernel shows."""
    guest = Guest.started(folder, tuple(_drive(folder, place) for place in PLACES if place.name not in OWN))
    with guest:
        guest.put("/run/look.py", SCRIPT.read_bytes())
        guest.check("udevadm settle")
        seen = json.loads(guest.check("python3 /run/look.py"))
        kernel = guest.check("uname -r").strip()
    return {"kernel": kernel, "variables": seen["variables"], "places": _by_place(seen["disks"])}


def _drive(folder: Path, place: Place) -> Any:
    # A size of its own tells each disk, whatever the kernel calls it.
    disk = Disk((Partition(size=_size(place)),))
    return place.drive(disk.write(folder / f"{place.name}.raw"))


def _size(place: Place) -> int:
    return (4 + PLACES.index(place)) * MIB


def _by_place(disks: list[dict[str, Any]]) -> dict[str, Any]:
    """Sizes and partitions are each disk's own; the record leaves them out."""
    first, second = ([one for one in disks if one["name"] == name] for name in ("vda", "vdb"))
    found = {"virtio0": first[0], "virtio1": second[0]}
    by_size = {int(one["files"]["size"]) * 512: one for one in disks}
    for place in PLACES:
        if place.name not in OWN:
            found[place.name] = by_size[_size(place) + 2 * MIB]
    for disk in found.values():
        del disk["files"]["size"]
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
    print(f"{SAMPLE}: {len(found['places'])} places")
    return 0


if __name__ == "__main__":
    sys.exit(main())
