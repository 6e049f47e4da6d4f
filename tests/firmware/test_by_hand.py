"""What the sheet says to do by hand, done with standard tools alone in a running system."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest

from tests.firmware import base
from tests.firmware.guest import Guest
from tests.firmware.test_one_life import QUARRY_ESP
from tests.firmware.variables import GLOBAL

pytestmark = pytest.mark.firmware

SHEET = Path(__file__).parents[1] / "cli/sheet.txt"
EFIVARS = "/sys/firmware/efi/efivars"
ENTRY = f"Boot{base.FERNWICK_ENTRY:04X}-{GLOBAL}"
ORDER = f"BootOrder-{GLOBAL}"
DATA_TYPE = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
ESP = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"


def test_as_the_sheet_says(guest: Guest) -> None:
    said = SHEET.read_text().partition("5. By hand")[2]
    mount, format_it, entry, order, retype, _ = re.findall(r"run: sudo (.*)", said)
    before = {name: guest.get(f"{EFIVARS}/{name}") for name in (ENTRY, ORDER)}
    guest.check("mkdir -p /root/kit/variables")
    for name, data in before.items():
        guest.put(f"/root/kit/variables/{name}", data)
    guest.put("/root/order", before[ORDER][:4] + struct.pack("<H", base.QUARRY_ENTRY))
    guest.check(f"chattr -i {EFIVARS}/{ENTRY}; rm {EFIVARS}/{ENTRY}")
    guest.check(f"dd if=/root/order of={EFIVARS}/{ORDER} bs=4096 status=none")

    guest.check(f"cd /root/kit && {entry} && {order}")
    assert {name: guest.get(f"{EFIVARS}/{name}") for name in before} == before

    disk = guest.check(f"lsblk -no PKNAME /dev/disk/by-partuuid/{QUARRY_ESP}").strip()
    for kind in (DATA_TYPE, ESP):
        guest.check(retype.replace("DISK", disk).replace("NUMBER", "1").replace("TYPE", kind))
        assert kind in guest.check(f"sfdisk --part-type /dev/{disk} 1")

    mount = mount.replace("PARTUUID", QUARRY_ESP)
    guest.check(f"{mount} && test -d /mnt/EFI && umount /mnt")
    guest.check(
        f"dd if=/dev/zero of=/dev/disk/by-partuuid/{QUARRY_ESP} bs=64K count=1 conv=fsync status=none"
    )
    assert guest.run(mount).status != 0
    guest.check(format_it.replace("PARTUUID", QUARRY_ESP).replace("SERIAL", "5EA10001"))
    guest.check(f"{mount} && mkdir -p /mnt/EFI/quarry && umount /mnt")
    assert guest.check(f"blkid -p -o value -s UUID /dev/disk/by-partuuid/{QUARRY_ESP}") == "5EA1-0001\n"
