"""Whatever a unit reads, and whoever runs code in it: the kernel lets it do no harm."""

from __future__ import annotations

import hashlib
import json

import pytest

from tests.firmware.guest import Guest
from tests.firmware.sandbox import REFUSED, Try, probe, table
from tests.firmware.test_one_life import FERNWICK_ESP, QUARRY_ESP, fetch, wait_for_reading
from tests.firmware.test_restore_guest import OWN_LOADER
from tests.firmware.variables import GLOBAL

pytestmark = [pytest.mark.firmware, pytest.mark.whole]

EFIVARS = "/sys/firmware/efi/efivars"
SECRETS = (
    "/etc/shadow",
    "/etc/bootwatch/addresses.yaml",
    "/etc/bootwatch/machine.key",
    "/root/secret",
    "/home/anna/secret",
)
STATE = "/var/lib/bootwatch"
LISTENER = (
    "import os, socket; server = socket.create_server(('127.0.0.1', 9925))\n"
    "if os.fork(): os._exit(0)\n"
    "while True: server.accept()[0].close()"
)
ALWAYS = [
    Try("write", f"{EFIVARS}/BootOrder-{GLOBAL}", "a variable"),
    Try("create", f"{EFIVARS}/Boot0777-{GLOBAL}", "a new variable"),
    Try("remove", f"{EFIVARS}/BootOrder-{GLOBAL}", "a variable"),
    *(Try("write", f"/dev/disk/by-partuuid/{one}", "a disk") for one in (FERNWICK_ESP, QUARRY_ESP)),
    Try("write", OWN_LOADER, "a boot volume"),
    Try("create", "/boot/efi/new", "a boot volume"),
    Try("remove", OWN_LOADER, "a boot volume"),
    Try("write", f"{STATE}/baseline/current.yaml", "the baseline"),
    Try("create", f"{STATE}/baseline/new", "the baseline"),
    Try("remove", f"{STATE}/baseline/current.yaml", "the baseline"),
    Try("create", f"{STATE}/spares/new", "the spares"),
    Try("create", f"{STATE}/restores/new", "restores"),
    Try("create", "/etc/new", "the settings"),
    Try("create", "/usr/local/lib/bootwatch/new.py", "the program"),
    Try("create", "/etc/systemd/system/new.service", "units"),
    Try("mount", "/mnt", "a mount"),
    Try("unmount", "/boot/efi", "a mount"),
    Try("unshare", "", "a user namespace"),
    Try("node", "/tmp/disk", "a device's node"),
    Try("become", "", "root"),
]
NO_NETWORK = [Try("connect", "127.0.0.1:9925", "the network"), Try("connect", "::1:9925", "the network")]
READS = [Try("read", path, path) for path in SECRETS]
# Mounted by others while the unit runs: there, and nobody's but root's.
AFTER = [
    Try("write", "/mnt/EFI/quarry/loaderx64.efi", "mounted after"),
    Try("create", "/mnt/new", "mounted after"),
]
UNSEEN = [
    *(Try("read", f"/dev/disk/by-partuuid/{one}", "a disk") for one in (FERNWICK_ESP, QUARRY_ESP)),
    Try("read", f"{EFIVARS}/BootOrder-{GLOBAL}", "a variable"),
    Try("read", OWN_LOADER, "a boot volume"),
    Try("read", f"{STATE}/baseline/current.yaml", "the baseline"),
    Try("read", f"{STATE}/history/history.db", "the history"),
]


def install(guest: Guest) -> None:
    fetch(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline", silence=300)
    wait_for_reading(guest)  # a start that is under way would be joined
    guest.put("/etc/bootwatch/addresses.yaml", b"addresses: [] # MARKER\n", 0o600)
    guest.check("mkdir -p /home/anna && echo MARKER | tee /home/anna/secret >/root/secret")
    guest.check("echo MARKER >>/etc/bootwatch/machine.key; echo 'anna:MARKER:1::::::' >>/etc/shadow")
    guest.put("/root/listener.py", LISTENER.encode())
    # It has its port before systemd-run comes back.
    guest.check("systemd-run --quiet --service-type=forking python3 /root/listener.py")


def hold(guest: Guest, unit: str, tries: list[Try], meanwhile: str = "") -> None:
    results = probe(guest, unit, tries, meanwhile)
    print(table(unit, tries, results))
    seen = [(one, said) for one, said in zip(tries, results, strict=True) if said not in REFUSED | {"hidden"}]
    assert not seen, f"{unit}: {seen}"


def test_no_unit_can_do_harm(guest: Guest) -> None:
    install(guest)
    # What the probe tries is possible at all: as root, outside.
    guest.put("/root/open.py", b"import socket; socket.create_connection(('127.0.0.1', 9925))")
    guest.check("python3 /root/open.py; grep -q MARKER /etc/shadow")
    mounted = f"mount /dev/disk/by-partuuid/{QUARRY_ESP} /mnt"
    hold(guest, "bootwatch-read@boot.service", [*ALWAYS, *NO_NETWORK, *READS, *AFTER], mounted)
    guest.check("umount /mnt")
    foreign = [one for one in ALWAYS if "boot volume" not in one.what]
    hold(guest, "bootwatch-send.service", [*foreign, *UNSEEN, *READS])
    disks = [one for one in UNSEEN if one.what == "a disk"]
    guest.check("touch /root/watched")  # else `fetch` keeps the watch from being started
    hold(guest, "bootwatch-watch.service", [*ALWAYS, *NO_NETWORK, *READS, *disks, *AFTER], mounted)
    guest.check("rm /root/watched; umount /mnt")
    # Root's own, with none of root's rights.
    own = [one for one in ALWAYS if one.kind != "become"]
    hidden = [one for one in UNSEEN if one.what not in ("the baseline", "a boot volume")]
    hold(guest, "bootwatch-kit.service", [*own, *NO_NETWORK, *hidden, *READS])
    guest.check("mkdir /mnt/stick && mount -t tmpfs stick /mnt/stick")
    hold(guest, "bootwatch-kit-to@mnt-stick.service", [*own, *NO_NETWORK, *hidden, *READS])
    hold(guest, "bootwatch-failed@probe.service", [*own, *NO_NETWORK, *UNSEEN[:2], *READS])


# Run as the reader's user once it has left its programs: another content under a hash that root trusts.
SWAP = """#!/bin/sh
for one in /var/lib/bootwatch/history/programs/*; do rm -f "$one"; echo EVIL >"$one"; done
"""
# The parsed form of the baseline that the reader keeps says of every loader, and every entry, what we like.
POISON = """
import json, pathlib, sys
folder = pathlib.Path("/var/lib/bootwatch/history/baseline-cache")
for one in folder.glob("*.json"):
    text = one.read_text()
    for was, now in json.loads(sys.argv[1]).items():
        text = text.replace(was, now)
    one.unlink()
    one.write_text(text)
    print(one, now in text)
"""


def test_what_the_reader_says_is_not_believed(guest: Guest) -> None:
    """Code that has taken over the reader gets nothing onto a boot volume by way of root's commands."""
    fetch(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline", silence=300)
    loader = guest.get(OWN_LOADER)
    own, evil = (hashlib.sha256(data).hexdigest() for data in (loader, b"EVIL\n"))

    # A program that is not what it says, when a baseline is saved.
    guest.put("/usr/local/lib/swap", SWAP.encode(), 0o755)
    drop_in = "/run/systemd/system/bootwatch-read@asked-programs.service.d"
    guest.check(f"mkdir -p {drop_in}")
    guest.put(f"{drop_in}/swap.conf", b"[Service]\nExecStartPost=/usr/local/lib/swap\n")
    guest.check("systemctl daemon-reload; rm /var/lib/bootwatch/spares/*")
    said = guest.run("bootwatch baseline save --reason 'all start' --yes", 300)
    print(said.output)
    assert "EVIL" not in guest.check("cat /var/lib/bootwatch/spares/* 2>/dev/null || true")
    guest.check(f"rm -r {drop_in}; systemctl daemon-reload")
    guest.check("bootwatch baseline save --reason 'all start' --yes", 300)
    assert guest.check("sha256sum /var/lib/bootwatch/spares/*").count(own) == 2

    # Another loader's hash in what the reader knows of the baseline, and that loader among its programs.
    guest.put("/usr/local/lib/poison.py", POISON.encode())
    as_reader = "setpriv --reuid=bootwatch --regid=bootwatch --init-groups"
    changed = json.dumps({own: evil})
    poison = f"{as_reader} python3 /usr/local/lib/poison.py '{changed}'"
    guest.check("bootwatch snapshot >/dev/null")
    assert "True" in guest.check(poison)
    guest.check(f"{as_reader} sh -c 'echo EVIL >/var/lib/bootwatch/history/programs/{evil}'")
    assert guest.run(f"{as_reader} cp /etc/hostname /var/lib/bootwatch/spares/{evil}").status != 0
    guest.check(f"rm {OWN_LOADER}")
    said = guest.run("bootwatch restore --write --yes", 300)
    print(said.output)
    assert "no copy of it was kept" in said.output
    assert guest.run(f"test -e {OWN_LOADER}").status == 1

    # Without the lie it comes back.
    guest.check("rm -f /var/lib/bootwatch/history/baseline-cache/*")
    guest.run("bootwatch restore --write --yes", 300)
    assert guest.get(OWN_LOADER) == loader
