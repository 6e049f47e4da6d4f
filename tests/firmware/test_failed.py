"""The guardian's own death: said in the journal and at log-in, and taken back when it works again."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest

from tests.firmware.guest import Guest
from tests.firmware.test_one_life import fetch

pytestmark = pytest.mark.firmware

UNITS = Path(__file__).parents[2] / "units"
READER, SENDER = "bootwatch-read@boot.service", "bootwatch-send.service"
STATE = "/var/lib/bootwatch"
INTERPRETER = "/usr/local/bin/interpreter"
SHUTDOWN = "bootwatch-shutdown.service"
HEADS = {
    READER: "bootwatch does not see what this machine starts from.",
    SENDER: "bootwatch can tell nobody what happens to this machine.",
}


def lay_units(guest: Guest) -> None:
    """The units as they are, with a program that does nothing by an interpreter of its own."""
    for name in ("bootwatch-failed@.service", "bootwatch-read@.service", SHUTDOWN):
        guest.put(f"/etc/systemd/system/{name}", (UNITS / name).read_bytes())
    guest.put("/etc/sysusers.d/bootwatch.conf", (UNITS / "bootwatch.sysusers").read_bytes())
    guest.put("/etc/tmpfiles.d/bootwatch.conf", (UNITS / "bootwatch.tmpfiles").read_bytes())
    guest.check("mkdir -p /usr/local/libexec && ln -s /bin/sh " + INTERPRETER)
    guest.put("/usr/local/libexec/bootwatch-failed", (UNITS / "failed").read_bytes(), 0o755)
    guest.put("/usr/local/bin/bootwatch", f"#!{INTERPRETER}\nexit 0\n".encode(), 0o755)
    guest.check("systemd-sysusers && systemd-tmpfiles --create bootwatch.conf && systemctl daemon-reload")


def fails(guest: Guest, unit: str) -> str:
    """The unit is started and fails: what the journal got of it, which is what is shown at log-in too."""
    cursor = guest.check("journalctl -n 0 --show-cursor").partition("-- cursor: ")[2].strip()
    assert guest.run(f"systemctl start {unit}", 120).status != 0
    found = (
        f"journalctl --after-cursor={shlex.quote(cursor)} -f -o cat SYSLOG_IDENTIFIER=bootwatch PRIORITY=3"
    )
    said = guest.check(f"head -n 4 < <({found})", 120)
    name = unit.partition("@")[0].removesuffix(".service")
    assert said == guest.check(f"cat /run/motd.d/62-{name}")
    assert said.startswith(f"{HEADS[unit]}\n")
    return said


def works(guest: Guest, unit: str) -> None:
    guest.check(f"systemctl start {unit}", 300)
    assert guest.check("ls /run/motd.d | grep ^62- || true") == ""


def test_what_keeps_a_unit_from_running(guest: Guest) -> None:
    lay_units(guest)
    works(guest, READER)
    guest.check(f"rm {INTERPRETER}")
    assert "Python or the program" in fails(guest, READER)
    guest.check(f"ln -s /bin/sh {INTERPRETER}; mv {STATE} /var/lib/elsewhere")
    said = fails(guest, READER)
    assert "One of its folders is missing" in said and "systemd-tmpfiles --create" in said
    guest.check(f"mv /var/lib/elsewhere {STATE}")
    works(guest, READER)


@pytest.mark.whole
def test_on_the_way_down(guest: Guest) -> None:
    """The system manager runs nothing any more that conflicts with the shutdown."""
    lay_units(guest)
    guest.check("mkdir -p /var/log/journal && journalctl --flush")
    guest.check(f"systemctl start {SHUTDOWN} && rm {INTERPRETER}")
    guest.power_off()
    guest.start()
    said = guest.check("journalctl -b -1 -o cat SYSLOG_IDENTIFIER=bootwatch PRIORITY=3").splitlines()
    assert said[0] == "bootwatch did not look at this machine before it was switched off."
    command = said[2].partition("See why: ")[2]
    assert command == f"journalctl -b -1 -u '{SHUTDOWN}' -n 20"
    assert "status=203/EXEC" in guest.check(command)


@pytest.mark.whole
def test_whatever_is_missing(guest: Guest) -> None:
    """The whole installation: without Python, without its records, with nothing but part of the program."""
    fetch(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline", silence=600)
    found = json.loads(guest.run("bootwatch selfcheck --json", 120).output)
    wrong = [(one["name"], one["said"]) for one in found["checks"] if one["state"] == "wrong"]
    # Nobody was told of in the addresses yet, and the watch is kept from running here.
    assert [name for name, _ in wrong] == ["addresses", "units"], wrong
    assert wrong[1][1].startswith("bootwatch-watch.service is not active")
    # What starts them by itself is not what is tested.
    guest.check("systemctl stop 'bootwatch-*.timer' 'bootwatch-*.path' bootwatch-watch.service")
    guest.check("echo 'addresses: []' >/etc/bootwatch/addresses.yaml; rm -f /run/bootwatch/send/state.json")

    works(guest, READER)  # after whichever was under way
    guest.check("mv /usr/bin/python3 /usr/bin/python3.away")
    for unit in (READER, SENDER):
        assert "Python or the program" in fails(guest, unit)
    shown = guest.check("cat /run/motd.d/62-*").splitlines()
    assert len(shown) == 8, shown
    guest.check("mv /usr/bin/python3.away /usr/bin/python3")
    guest.check(f"systemctl start {SENDER}", 300)
    works(guest, READER)

    guest.check(f"mv {STATE} /var/lib/elsewhere")
    assert "systemd-tmpfiles --create" in fails(guest, READER)
    guest.check(f"mv /var/lib/elsewhere {STATE}")
    works(guest, READER)

    half = "/usr/local/lib/bootwatch/bootwatch"
    for away, units in ((f"{half}/keep/history.py", [READER]), (half, [READER, SENDER])):
        guest.check(f"mv {away} /root/away")
        for unit in units:
            guest.check("rm -f /run/bootwatch/send/state.json")
            assert "is not whole, or wrong" in fails(guest, unit)
        guest.check(f"mv /root/away {away}")
        guest.check(f"systemctl start {SENDER}", 300)
        works(guest, READER)

    # Nothing fails where nothing runs.
    guest.check("rm -f /run/bootwatch/routes.json")
    login = "mount --bind /root/uptime /proc/uptime && run-parts --lsbsysinit /etc/update-motd.d"
    login = f"unshare --mount sh -c '{login}'"
    guest.check("echo 3599.00 1.00 >/root/uptime")
    assert "has not looked" not in guest.check(login)
    guest.check("echo 3601.00 1.00 >/root/uptime")
    assert "bootwatch has not looked at this machine since it was started." in guest.check(login)
    works(guest, READER)
    assert "has not looked" not in guest.check(login)
    guest.check("cd bootwatch && ./packaging/install --remove", silence=300)
    assert "bootwatch" not in guest.check("ls /etc/update-motd.d /usr/local/libexec /run/motd.d")
