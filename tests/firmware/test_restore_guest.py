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


# Under the namespace of the kernel's own crash dumps, which it protects from nobody.
FILL = """import os, sys
folder = sys.argv[1]
made = 0
for size in (8000, 1000, 100, 10, 1):
    while made < 500:
        path = f"{folder}/Filler{made:03}-cfc8fc79-be2e-4ddc-97f0-9f98bfe298a0"
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        try:
            os.write(file, b"\\x07\\0\\0\\0" + bytes(size))
        except OSError as error:
            os.unlink(path)
            last = error
            break
        finally:
            os.close(file)
        made += 1
print(made, last.errno)
"""
ENOSPC = 28


def variables(guest: Guest) -> str:
    """Every variable's name and content, as one text."""
    return guest.check(f"cd {EFIVARS} && for one in Boot*; do echo $one; od -An -tx1 $one; done")


def files(guest: Guest) -> str:
    return guest.check("cd /boot/efi && find . -type f -exec sha256sum {} + && df --output=avail .")


def fill_store(guest: Guest) -> None:
    guest.put("/root/fill.py", FILL.encode())
    made, error = guest.check(f"python3 /root/fill.py {EFIVARS}").split()
    assert int(made) > 0 and int(error) == ENOSPC


def test_nothing_is_changed_where_there_is_no_room(guest: Guest) -> None:
    installed(guest)
    before = {path: guest.get(path) for path in (ENTRY, ORDER, OWN_LOADER)}

    guest.check(f"rm {OWN_LOADER}; cat /dev/zero > /boot/efi/filler 2>/dev/null; sync")
    full = files(guest)
    done = guest.run(RESTORE, 180)
    assert done.status != 0 and "has no room" in done.output and "Traceback" not in done.output
    assert files(guest) == full
    guest.check("rm /boot/efi/filler; mount -o remount,ro /boot/efi")
    done = guest.run(RESTORE, 180)
    assert done.status != 0 and "mounted read-only" in done.output
    guest.check("mount -o remount,rw /boot/efi")
    guest.check(RESTORE)
    assert guest.get(OWN_LOADER) == before[OWN_LOADER]

    lose_entry(guest)
    fill_store(guest)
    full = variables(guest)
    done = guest.run(RESTORE, 180)
    assert done.status != 0 and "store" in done.output and "Traceback" not in done.output, done.output
    assert variables(guest) == full, "what the firmware refused leaves no empty file"
    # What was deleted takes its room until the firmware tidies up, at its next start.
    guest.check(f"rm {EFIVARS}/Filler*")
    guest.power_off()
    guest.start()
    guest.check(RESTORE)
    assert {path: guest.get(path) for path in before} == before
