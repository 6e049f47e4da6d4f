"""Restoring in a running system, by efivarfs and vfat; killed in the middle; and the starts afterwards."""

import struct

import pytest

from tests.firmware import base
from tests.firmware.guest import Guest, Place
from tests.firmware.test_one_life import QUARRY_ESP, fetch, loaders_that_ran, wait_for_reading
from tests.firmware.variables import GLOBAL

pytestmark = [pytest.mark.firmware, pytest.mark.whole]

EFIVARS = "/sys/firmware/efi/efivars"
ENTRY = f"{EFIVARS}/Boot{base.FERNWICK_ENTRY:04X}-{GLOBAL}"
ORDER = f"{EFIVARS}/BootOrder-{GLOBAL}"
OWN_LOADER = "/boot/efi/EFI/fernwick/loaderx64.efi"
QUARRYS_DEVICE = f"/dev/disk/by-partuuid/{QUARRY_ESP}"
RESTORE = "bootwatch restore --write --yes"


def installed(guest: Guest) -> None:
    fetch(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline")
    wait_for_reading(guest)


def lose_entry(guest: Guest) -> None:
    """As its tools do it: out of the order, then deleted."""
    order = guest.get(ORDER)
    gone = struct.pack("<H", base.FERNWICK_ENTRY)
    rest = b"".join(order[at : at + 2] for at in range(4, len(order), 2) if order[at : at + 2] != gone)
    # One write is one SetVariable.
    guest.put("/root/order", order[:4] + rest)
    guest.check(f"dd if=/root/order of={ORDER} bs=4096 status=none")
    guest.check(f"chattr -i {ENTRY}; rm {ENTRY}")


def lose_quarrys_loader(guest: Guest) -> bytes:
    """What it held; deleted through a mount that is gone again."""
    path = "/mnt" + base.QUARRY_LOADER.replace("\\", "/")
    guest.check(f"mount {QUARRYS_DEVICE} /mnt")
    held = guest.get(path)
    guest.check(f"rm {path}; umount /mnt")
    return held


def killed(guest: Guest, path: str) -> None:
    """A restore that dies as it is about to write that variable."""
    guest.put("/root/dying.py", DYING.encode())
    done = guest.run(f"python3 /root/dying.py {path} {RESTORE.removeprefix('bootwatch ')}", 180)
    assert done.status == -9, done


DYING = """import os, signal, sys
sys.path.insert(0, "/usr/local/lib/bootwatch")
from bootwatch.cli.main import main
path = sys.argv.pop(1)
write = os.write
def dying(handle, data):
    if os.readlink(f"/proc/self/fd/{handle}") == path:
        os.kill(os.getpid(), signal.SIGKILL)
    return write(handle, data)
os.write = dying
sys.exit(main())
"""


def test_back_within_a_running_system(guest: Guest) -> None:
    installed(guest)
    before = {path: guest.get(path) for path in (ENTRY, ORDER, OWN_LOADER)}

    lose_entry(guest)
    guest.check(f"rm {OWN_LOADER}")
    quarrys = lose_quarrys_loader(guest)
    guest.check(RESTORE)
    assert {path: guest.get(path) for path in before} == before
    assert guest.run(f"findmnt --source PARTUUID={QUARRY_ESP}").status == 1, "left mounted"

    lose_entry(guest)
    guest.check(f"rm {OWN_LOADER}")
    killed(guest, ENTRY)
    assert guest.get(OWN_LOADER) == before[OWN_LOADER], "files come before entries"
    assert guest.get(ENTRY) == b"", "what the kernel leaves of a variable that was not written"
    killed(guest, ORDER)
    assert guest.get(ENTRY) == before[ENTRY]
    guest.check(RESTORE)
    assert {path: guest.get(path) for path in before} == before
    guest.check("bootwatch drift")
    guest.power_off()

    with guest.volume(Place.QUARRY_ESP) as volume:
        assert volume.read(base.QUARRY_LOADER) == quarrys
    with guest.machine.variables() as variables:
        variables.set("BootNext", struct.pack("<H", base.QUARRY_ENTRY))
    guest.start()
    quarry, fernwick = loaders_that_ran(guest)
    assert quarry.endswith(base.QUARRY_LOADER)
    assert fernwick.endswith(base.FERNWICK_LOADER)
