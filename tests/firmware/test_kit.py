"""Recovery kits by a real system manager: made as units may, on a stick that is somebody's, and run from."""

from __future__ import annotations

import json

import pytest

from tests.firmware.guest import Guest
from tests.firmware.programs import program
from tests.firmware.test_one_life import fetch

pytestmark = [pytest.mark.firmware, pytest.mark.whole]

KIT = "/var/lib/bootwatch/kit"
# As a desktop mounts a stick: for its user alone.
STICK = (
    "truncate -s 64M /stick.img && mkfs.fat /stick.img >/dev/null && mkdir -p /mnt/stick && "
    "mount -o loop,uid=1000,gid=1000,umask=077 /stick.img /mnt/stick"
)
ENTRY = "/sys/firmware/efi/efivars/Boot0001-8be4df61-93ca-11d2-aa0d-00e098032b8c"


def test_kept_up_to_date_and_run_from(guest: Guest) -> None:
    fetch(guest)
    guest.check("./bootwatch/packaging/install --save-baseline", silence=300)
    guest.check("systemctl start bootwatch-kit.service")
    assert guest.check(f"stat -c '%U %a' {KIT}/*/about.json") == "root 600\n"
    guest.check(STICK)
    guest.check("echo 'kit_to: /mnt/stick' >>/etc/bootwatch/bootwatch.yaml")
    guest.check("systemctl start bootwatch-kit.service && systemctl start bootwatch-kit-to@mnt-stick.service")
    guest.check("cd /mnt/stick/* && sha256sum --quiet -c SHA256SUMS")
    said = json.loads(
        guest.check(f"setpriv --reuid=bootwatch --regid=bootwatch --clear-groups cat {KIT}/last.json")
    )
    assert said["to"].startswith("/mnt/stick/")
    # Where the stick isn't there, nothing is written in its place, and nothing fails.
    guest.check("umount /mnt/stick")
    assert guest.run("systemctl start bootwatch-kit-to@mnt-stick.service").status != 0
    assert guest.check("ls -A /mnt/stick") == ""
    guest.check("mount -o loop /stick.img /mnt/stick")
    checked = json.loads(guest.run("bootwatch baseline export --check /mnt/stick --json").output)
    back = {one["what"]: one["back"] for one in checked["losses"]}
    assert back["all entries and their order, as by a firmware reset"] is True
    # It is no program, so no copy was kept.
    assert back['the file \\fernwick\\initrd on the boot volume "FERNWICK"'] is False
    starting(guest)
    live(guest)


def starting(guest: Guest) -> None:
    """A shell on the stick, tried by the reader's user; never on what is no stick's top."""
    guest.put("/shell.efi", program("witness"))
    command = "bootwatch baseline export --with-shell /shell.efi --yes --json --to"
    for folder in ("/root", "/mnt/stick/EFI", "/boot/efi"):
        guest.check(f"mkdir -p {folder}")
        assert guest.run(f"{command} {folder}").status == 2, folder
    said = json.loads(guest.check(f"{command} /mnt/stick"))["stick"]
    assert (said["chosen"]["starts"], said["by_itself"]["starts"]) == (True, False)
    guest.check("cmp /shell.efi /mnt/stick/EFI/BOOT/BOOTX64.EFI")
    assert b"s\0t\0a\0r\0t\0u\0p" in guest.get("/mnt/stick/startup.nsh")
    assert guest.run(f"{command.replace('/shell.efi', '/bin/true')} /mnt/stick").status == 2


def live(guest: Guest) -> None:
    """As on a live system: without bootwatch, its users and its libraries."""
    before = guest.get(ENTRY)
    guest.check("./bootwatch/packaging/install --remove --purge --yes", silence=300)
    guest.check(f"chattr -i {ENTRY}; rm {ENTRY}")
    bare = "cd /mnt/stick/*-2* && env -i PATH=/usr/sbin:/usr/bin python3 -I -S bootwatch.pyz"
    assert guest.run(f"{bare} restore --kit .").status == 1
    guest.check(f"{bare} restore --kit .. --write --yes")
    assert guest.get(ENTRY) == before
    guest.check("ls /mnt/stick/bootwatch-records/*/restores/0001/record.json")
    guest.check(f"{bare} restore --kit . --undo --yes")
    assert guest.run(f"test -e {ENTRY}").status == 1
