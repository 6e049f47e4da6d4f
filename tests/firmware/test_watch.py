"""The resident watch under a real system manager: what it sees, asks for, is told and tells."""

import json
from pathlib import Path

import pytest

from bootwatch.tell.journal import ALERT_ID
from tests.firmware import base
from tests.firmware.guest import Guest
from tests.firmware.test_one_life import (
    ENDED_WELL,
    QUARRY_ESP,
    circumstances,
    fetch,
    wait_for_reading,
    wait_for_record,
)
from tests.firmware.variables import GLOBAL

pytestmark = pytest.mark.firmware

WATCH = "bootwatch-watch.service"
OWN_LOADER = "/boot/efi" + base.FERNWICK_LOADER.replace("\\", "/")
EFIVARS = "/sys/firmware/efi/efivars"
QUARRYS_DEVICE = f"/dev/disk/by-partuuid/{QUARRY_ESP}"
# As a package's update goes: each file beside the old one, then in its place.
UPDATE = "for n in $(seq 12); do head -c 9999 /dev/zero >$n.new && mv $n.new $n.efi && sync -f .; done"
AUTOMOUNT = f"""\
mkdir -p /efi
cat >/run/systemd/system/efi.mount <<EOF
[Mount]
What={QUARRYS_DEVICE}
Where=/efi
Options=umask=0077
EOF
printf '[Automount]\\nWhere=/efi\\nTimeoutIdleSec=10\\n' >/run/systemd/system/efi.automount
systemctl daemon-reload && systemctl start efi.automount
"""
# Counted for each thread, by the kernel.
WAKE_UPS = "cat /proc/{}/task/*/status | awk '/ctxt_switches/ {{sum += $2}} END {{print sum}}'"


def watched(guest: Guest) -> None:
    fetch(guest)
    guest.check("touch /root/watched && cd bootwatch && ./packaging/install --save-baseline", silence=300)
    wait_for_reading(guest)


def shown(guest: Guest, name: str) -> str:
    return guest.check(f"systemctl show -P {name} {WATCH}").strip()


def readings(guest: Guest, number: int) -> None:
    """Waits until so many readings that the watch asked for have ended well."""
    unit = "UNIT=bootwatch-read@watch.service"
    guest.check(f"head -n {number} < <(journalctl -b --no-tail -f -o cat {unit} MESSAGE_ID={ENDED_WELL})")


def wait_for_word(guest: Guest, word: str) -> None:
    """Waits until the system manager or the watch itself says so in the journal."""
    matches = f"_SYSTEMD_UNIT={WATCH} + UNIT={WATCH}"
    guest.check(f"grep -m 1 '{word}' < <(journalctl -b --no-tail -f -o cat {matches})")


def test_a_lost_loader_is_told_while_the_system_runs(guest: Guest) -> None:
    watched(guest)
    assert shown(guest, "StatusText") == (
        "Watching the firmware's variables, the boot volume at /boot/efi, fstab, mounts and disks. "
        "Asked for no reading since it began."
    )
    guest.check(f"rm {OWN_LOADER}")
    record = wait_for_record(guest, f"MESSAGE_ID={ALERT_ID}")
    assert [change.split(":")[0] for change in [record["BOOTWATCH_CHANGE"]]] == ["loader-missing"]
    readings(guest, 1)
    assert shown(guest, "StatusText").endswith("Asked for a reading since it began.")


@pytest.mark.whole
def test_each_thing_that_changes_leads_to_one_reading(guest: Guest, tmp_path: Path) -> None:
    watched(guest)
    guest.check(f"cd /boot/efi/EFI && mkdir updated && cd updated && {UPDATE}")
    readings(guest, 1)
    guest.check(f"rm {EFIVARS}/Boot{base.QUARRY_ENTRY:04X}-{GLOBAL}")
    readings(guest, 2)
    guest.check(f"mount -o umask=0077 {QUARRYS_DEVICE} /mnt")
    readings(guest, 3)
    assert "the boot volume at /mnt," in shown(guest, "StatusText")
    guest.check("touch /mnt/EFI/quarry/new")
    readings(guest, 4)
    guest.check("umount /mnt")
    readings(guest, 5)
    assert " /mnt " not in guest.check(f"cat /proc/{shown(guest, 'MainPID')}/mountinfo")
    # Nobody holds the device any more.
    guest.check(f"python3 -c 'import os; os.open(\"{QUARRYS_DEVICE}\", os.O_RDWR | os.O_EXCL)'")
    moments = [one.moment.value for one in circumstances(guest, tmp_path)]
    assert moments == ["asked", "boot", *["watch"] * 5]
    said = guest.check(f"journalctl -b -o cat _SYSTEMD_UNIT={WATCH}").splitlines()
    assert [line.split(":")[0].split(" and ")[0] for line in said if "asking" in line] == [
        "/boot/efi/EFI/updated created",
        f"{EFIVARS}/Boot{base.QUARRY_ENTRY:04X}-{GLOBAL} deleted",
        "/mnt mounted",
        "/mnt/EFI/quarry/new created",
        "/mnt unmounted",
    ]


@pytest.mark.whole
def test_left_alone_told_stopped_and_beside_an_automount(guest: Guest, tmp_path: Path) -> None:
    watched(guest)
    nothing_wakes_it(guest)
    settings_are_loaded_again(guest)
    guest.check("systemctl start bootwatch-read@resume.service")
    assert circumstances(guest, tmp_path)[-1].moment.value == "resume"
    assert "bootwatch-read@resume.service" in guest.check("systemctl show -P Wants hibernate.target")
    one_that_hangs_is_started_again(guest)
    an_automount_is_neither_set_off_nor_kept(guest)


def nothing_wakes_it(guest: Guest) -> None:
    count = WAKE_UPS.format(shown(guest, "MainPID"))
    before, after = guest.check(f"{count}; sleep 60; {count}", silence=180).split()
    assert before == after


def settings_are_loaded_again(guest: Guest) -> None:
    """Only when there is no mistake in them."""
    settings = "/etc/bootwatch/bootwatch.yaml"
    kept = guest.get(settings)
    guest.put(settings, kept + b"\nmachne: pantry\n")
    assert guest.run(f"systemctl reload {WATCH}").status != 0
    wait_for_word(guest, "machne")
    said = shown(guest, "StatusText")
    assert said.startswith("The settings from before hold.") and "machne" in said
    assert shown(guest, "ActiveState") == "active"
    guest.put(settings, b"machine: pantry\n")
    guest.check(f"systemctl reload {WATCH}")
    readings(guest, 1)
    assert json.loads(guest.get("/run/bootwatch/drift.json"))["machine"] == "pantry"


def one_that_hangs_is_started_again(guest: Guest) -> None:
    guest.check(f"mkdir -p /run/systemd/system/{WATCH}.d")
    guest.put(f"/run/systemd/system/{WATCH}.d/hasty.conf", b"[Service]\nWatchdogSec=10\nRestartSec=0\n")
    guest.check(f"systemctl daemon-reload && systemctl restart {WATCH}")
    readings(guest, 2)
    stopped = shown(guest, "MainPID")
    guest.check(f"kill -STOP {stopped}")
    wait_for_word(guest, "Watchdog timeout")
    readings(guest, 3)
    assert int(shown(guest, "NRestarts")) >= 1 and shown(guest, "MainPID") != stopped


def an_automount_is_neither_set_off_nor_kept(guest: Guest) -> None:
    guest.check(AUTOMOUNT)
    guest.check(f"touch {OWN_LOADER}")
    readings(guest, 4)
    assert guest.run("findmnt -t vfat /efi").status == 1
    guest.check("ls /efi")
    readings(guest, 5)
    assert "the boot volume at /efi," in shown(guest, "StatusText")
    wait_for_record(guest, "_PID=1", "UNIT=efi.mount", "JOB_TYPE=stop", "JOB_RESULT=done")
    readings(guest, 6)
    assert guest.run("findmnt -t vfat /efi").status == 1
    assert "the boot volume at /efi," not in shown(guest, "StatusText")
