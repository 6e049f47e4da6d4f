"""The harness itself: a resumed guest, its agent, silence, and what can be done while the machine is off."""

import time

import pytest

from tests.firmware import base
from tests.firmware.guest import Guest, Place
from tests.firmware.process import MachineFailed

pytestmark = pytest.mark.firmware


def test_a_resumed_guest_answers_at_once(guest: Guest) -> None:
    assert guest.run("echo out; echo err >&2; exit 3") == (3, "out\nerr\n")
    assert guest.check("findmnt -no FSTYPE /boot/efi") == "vfat\n"
    assert guest.check(". /etc/os-release; echo $PRETTY_NAME") == "Fernwick Linux 12\n"
    content = bytes(range(256)) * 300
    guest.put("/root/new/content", content, 0o640)
    assert guest.get("/root/new/content") == content
    assert guest.check("stat -c %a /root/new/content") == "640\n"
    with pytest.raises(MachineFailed, match="No such file"):
        guest.get("/root/missing")
    # A follower left running must not keep the command from ending.
    assert guest.run("sleep 1000 & echo done") == (0, "done\n")


def test_silence_is_a_failure_and_a_long_command_is_not(guest: Guest) -> None:
    began = time.monotonic()
    assert guest.run("for i in 1 2 3 4; do sleep 0.7; echo $i; done", silence=2) == (0, "1\n2\n3\n4\n")
    assert time.monotonic() - began > 2
    with pytest.raises(MachineFailed, match=r"silent for 1 s[\s\S]*console\.log"):
        guest.run("sleep 1000", silence=1)


def test_what_the_guest_wrote_and_what_is_changed_while_it_is_off_lies_on_the_disks(guest: Guest) -> None:
    guest.check("echo before > /boot/efi/note")
    guest.power_off()
    with guest.volume(Place.FERNWICK_ESP) as volume:
        assert volume.read("\\note") == b"before\n"
        volume.remove("\\note")
        volume.write({"\\EFI\\fernwick\\new.txt": b"after\n"})
    with guest.volume(Place.FERNWICK_ESP) as volume:
        assert "\\note" not in volume.list()
        assert volume.read("\\EFI\\fernwick\\new.txt") == b"after\n"
    with guest.machine.variables() as variables:
        assert variables.entries()[base.FERNWICK_ENTRY][0] == "Fernwick Linux"
        assert variables.order[:2] == [base.FERNWICK_ENTRY, base.QUARRY_ENTRY]
        variables.order = [base.QUARRY_ENTRY]
    with guest.machine.variables() as variables:
        assert variables.order == [base.QUARRY_ENTRY]
    with guest.volume(Place.QUARRY_ESP) as volume:
        assert volume.list() == ["\\EFI\\quarry\\loaderx64.efi"]
