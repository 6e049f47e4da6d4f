"""The main job on real firmware: installed, a baseline, another system's update, the next start, one mail.

Whenever something changed, it also says who had the machine.
"""

import hashlib
import io
import json
import re
import shlex
import tarfile
from contextlib import ExitStack
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import yaml

from bootwatch.keep.history import FILE_NAME, History
from bootwatch.model.snapshot import Circumstance
from bootwatch.tell.journal import ALERT_ID
from tests.firmware import base, firmware, tpm
from tests.firmware.guest import Guest, Place
from tests.firmware.package import package
from tests.firmware.programs import program

pytestmark = pytest.mark.firmware

CHECKOUT = Path(__file__).parents[2]
FILES = Path(__file__).parent / "guest_files"
SHIPPED = ("bootwatch", "units", "packaging", "pyproject.toml")
ADDRESSES = """\
addresses:
  - to: mailto://127.0.0.1:25/?from=pantry@fernwick.invalid&to=anna@fernwick.invalid
"""
# How long it waits after a start is not what is tested.
SOON = "[Timer]\nOnActiveSec=\nOnActiveSec=1s\n"
# What was spooled starts the sender; its timer would do so whenever the clock says so, without any news.
LATER_ON = "[Timer]\nOnBootSec=\nOnCalendar=\nOnBootSec=1d\n"
# Emulated, a reading takes ten times as long as on a PC.
PATIENT = "[Service]\nTimeoutStopSec=3min\n"
# As the distribution's own rules for a TPM have it.
TPM_RULE = 'KERNEL=="tpmrm[0-9]*", GROUP="tss", MODE="0660"\n'
# When the watch would have the machine read once more is not what is tested.
UNWATCHED = "[Unit]\nConditionPathExists=/root/watched\n"
# Something that writes to the boot volume on the way down, as updates that wait for the shutdown do.
LATE = "echo late >/boot/efi/late.txt"
# systemd's record of a unit that ran and ended well (sd-messages.h, SD_MESSAGE_UNIT_SUCCESS).
ENDED_WELL = "7ad2d189f7e94e70a38c781354912448"
READER, SENDER = "bootwatch-read@boot.service", "bootwatch-send.service"
SHUTDOWN = "bootwatch-shutdown.service"
FERNWICK_ESP = "f0000000-0000-4000-8000-000000000001"
QUARRY_ESP = "0a000000-0000-4000-8000-000000000001"


def checkout() -> bytes:
    """What a person has after fetching the project."""
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w:gz") as archive:
        for name in SHIPPED:
            archive.add(
                CHECKOUT / name, name, filter=lambda item: None if "__pycache__" in item.name else item
            )
    return packed.getvalue()


def fetch(guest: Guest) -> None:
    """The checkout; who may ask a TPM; a log of packages, which the guest's making threw away; patience."""
    guest.put(f"/etc/systemd/system/{SHUTDOWN}.d/patient.conf", PATIENT.encode())
    guest.put("/etc/systemd/system/bootwatch-boot.timer.d/soon.conf", SOON.encode())
    guest.put("/etc/systemd/system/bootwatch-send.timer.d/later.conf", LATER_ON.encode())
    guest.put("/etc/systemd/system/bootwatch-watch.service.d/unwatched.conf", UNWATCHED.encode())
    guest.put("/etc/udev/rules.d/60-tpm.rules", TPM_RULE.encode())
    guest.put("/root/bootwatch.tar.gz", checkout())
    guest.check("groupadd --system tss && touch /var/log/dpkg.log")
    guest.check("mkdir bootwatch && tar -xzf bootwatch.tar.gz -C bootwatch")


def prepare(guest: Guest) -> None:
    """A mail server, the alert address, the checkout."""
    guest.put("/usr/local/lib/mailbox.py", (FILES / "mailbox.py").read_bytes())
    guest.put("/etc/systemd/system/mailbox.service", (FILES / "mailbox.service").read_bytes())
    guest.put("/etc/bootwatch/addresses.yaml", ADDRESSES.encode(), 0o600)
    fetch(guest)
    guest.check("systemctl daemon-reload && systemctl enable --now mailbox.service")


def wait_for_record(guest: Guest, *matches: str) -> dict[str, Any]:
    """The journal's first record of this start of the system that matches; waits until there is one."""
    follow = shlex.join(["journalctl", "-b", "--no-tail", "-f", "-o", "json", *matches])
    record: dict[str, Any] = json.loads(guest.check(f"head -n 1 < <({follow})"))
    return record


def wait_for_reading(guest: Guest) -> None:
    """Waits until the reading that the boot timer starts has ended well."""
    results = [f"JOB_RESULT={result}" for result in ("done", "failed", "timeout", "dependency", "canceled")]
    job = wait_for_record(guest, "_PID=1", f"UNIT={READER}", "JOB_TYPE=start", *results)
    assert (job["JOB_RESULT"], "skipped" in job["MESSAGE"]) == ("done", False), job


def mails(guest: Guest) -> list[EmailMessage]:
    """The mails that the guest's mail server has taken, oldest first."""
    names = guest.check("ls -v /var/lib/mailbox").split()
    return [
        message_from_bytes(guest.get(f"/var/lib/mailbox/{name}"), policy=policy.default) for name in names
    ]


def alerts(guest: Guest) -> list[dict[str, Any]]:
    """The journal's records of alerts, of all starts."""
    lines = guest.check(f"journalctl -o json MESSAGE_ID={ALERT_ID}").splitlines()
    return [json.loads(line) for line in lines]


def update_quarry(guest: Guest) -> None:
    """What the other system's update does while it has the machine: its own loader is now the first."""
    with guest.machine.variables() as variables:
        variables.delete(f"Boot{base.FERNWICK_ENTRY:04X}")
        others = [
            number for number in variables.order if number not in (base.FERNWICK_ENTRY, base.QUARRY_ENTRY)
        ]
        variables.order = [base.QUARRY_ENTRY, *others]
    with guest.volume(Place.FERNWICK_ESP) as volume:
        volume.remove(base.FERNWICK_LOADER)


def replace_quarrys_loader(guest: Guest) -> None:
    """Another update of the other system, which changes nothing but its own loader."""
    with guest.volume(Place.QUARRY_ESP) as volume:
        volume.write({base.QUARRY_LOADER: program("leaver") + b"updated"})


def update_own_loader(guest: Guest) -> None:
    """A package of this system's own that writes to the boot volume."""
    script = f"printf updated >>/boot/efi{firmware.X64.default_file.replace(chr(92), '/')}"
    guest.put("/root/loader.deb", package("fernwick-loader", "2.1", script))
    guest.check("dpkg -i loader.deb")


def loaders_that_ran(guest: Guest) -> list[str]:
    """Quarry's loader by its own word, then the one that started Fernwick Linux by its word."""
    vendor = "4a67b082-0a4c-41cf-b6c7-440b29bb8c4f"
    names = [
        f"/sys/firmware/efi/efivars/{name}-{vendor}"
        for name in ("LoaderDevicePartUUID", "LoaderImageIdentifier")
    ]
    partition, file = (guest.get(name)[4:].decode("utf-16-le").rstrip("\0") for name in names)
    return [*(event["path"] for event in guest.process.console.events), f"{partition.lower()}{file}"]


def never_mounted(guest: Guest) -> dict[str, str]:
    """What the baseline holds of the volume that Fernwick Linux never mounts: path to SHA-256."""
    assert guest.run(f"findmnt --source PARTUUID={QUARRY_ESP}").status == 1
    state = yaml.safe_load(guest.get("/var/lib/bootwatch/baseline/current.yaml"))["state"]
    files = state[f"volume:gpt:{QUARRY_ESP}"].items()
    return {path: file["sha256"] for path, file in files if "sha256" in file}


def check_mail(mail: EmailMessage) -> None:
    """It names the system, the lost entry and the lost loader."""
    assert "Fernwick Linux" in mail["Subject"]
    assert (mail["From"], mail["To"]) == ("bootwatch <pantry@fernwick.invalid>", "anna@fernwick.invalid")
    body = mail.get_body(("plain",))
    assert body
    text = body.get_content()
    assert re.search(r'entry "Fernwick Linux" is gone', text), text
    assert f"loader {base.FERNWICK_LOADER} is gone" in text


def routes(guest: Guest) -> dict[str, Any]:
    """What the routes command says as data."""
    said: dict[str, Any] = json.loads(guest.check("bootwatch routes --json"))
    return said


def foreseen(document: dict[str, Any]) -> tuple[str, str, str]:
    """Entry, partition and file of the next start."""
    start = document["next_start"]
    assert start["by"] == "BootOrder" and start["certain"]
    return start["entry"], start["partition"], start["file"]


def placed(changes: list[dict[str, Any]]) -> dict[str, tuple[str, list[int]]]:
    """Who had the machine when, by what changed."""
    return {
        f"{change['change']} {change['scope'].get('path', change['where'][:8])}": (
            change["while"],
            change["between"],
        )
        for change in changes
    }


def circumstances(guest: Guest, folder: Path) -> list[Circumstance]:
    """Those of all snapshots in the guest's history, oldest first."""
    (folder / FILE_NAME).write_bytes(guest.get(f"/var/lib/bootwatch/history/{FILE_NAME}"))
    with History.look(folder) as history:
        assert history
        found = (history.circumstance(row.number) for row in reversed(history.rows()))
        return [circumstance for circumstance in found if circumstance]


def last_drift(guest: Guest) -> list[dict[str, Any]]:
    """The changes that the last reading found."""
    changes: list[dict[str, Any]] = json.loads(guest.get("/run/bootwatch/drift.json"))["changes"]
    return changes


ELSEWHERE, HERE = "another system or the firmware", "this system"
# By snapshot numbers: 1 and 2 when it was installed, 4 when it was switched off, 5 at the next start, 7 after
# the package, 8 when it was switched off, 9 at the last start; 3 and 6 are readings for `bootwatch routes`.
QUARRYS_UPDATE = {
    "entry-missing Boot0000": (ELSEWHERE, [4, 5]),
    f"loader-missing {base.FERNWICK_LOADER}": (ELSEWHERE, [4, 5]),
}
OWN_UPDATE = {f"loader-changed {firmware.X64.default_file}": (HERE, [6, 7])}
LATER = {
    "file-added \\late.txt": (HERE, [7, 8]),
    f"loader-changed {base.QUARRY_LOADER}": (ELSEWHERE, [8, 9]),
}
MOMENTS = ["asked", "boot", "asked", "shutdown", "boot", "asked", "asked", "shutdown", "boot"]


def test_one_life(guest: Guest, tmp_path: Path) -> None:
    with ExitStack() as stack:
        one_life(guest, tmp_path, stack)


def one_life(guest: Guest, folder: Path, stack: ExitStack) -> None:
    prepare(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline")
    wait_for_reading(guest)
    assert guest.run(f"systemctl restart {SHUTDOWN}").status != 0, "that would be no shutdown"
    assert never_mounted(guest) == {base.QUARRY_LOADER: hashlib.sha256(program("leaver")).hexdigest()}
    document = routes(guest)
    assert foreseen(document) == (f"Boot{base.FERNWICK_ENTRY:04X}", FERNWICK_ESP, base.FERNWICK_LOADER)
    depths = {one["name"]: (one["starts"], one["routes"][0]["followed_to"]) for one in document["systems"]}
    assert depths == {"Fernwick Linux": (True, "kernel"), "Quarry": (True, "loader")}
    guest.power_off()

    update_quarry(guest)
    guest.start(*stack.enter_context(tpm.running(folder)))
    quarry, fernwick = loaders_that_ran(guest)
    assert quarry.endswith(base.QUARRY_LOADER)
    assert fernwick == FERNWICK_ESP + firmware.X64.default_file
    wait_for_reading(guest)
    wait_for_record(guest, "_PID=1", f"UNIT={SENDER}", f"MESSAGE_ID={ENDED_WELL}")
    (mail,) = mails(guest)
    check_mail(mail)
    check_nobody_waits(guest)
    assert placed(last_drift(guest)) == QUARRYS_UPDATE
    document = routes(guest)
    assert foreseen(document) == (f"Boot{base.QUARRY_ENTRY:04X}", QUARRY_ESP, base.QUARRY_LOADER)
    assert (document["record"]["right"], document["record"]["judged"]) == (0, 1), "another way was foreseen"
    (record,) = alerts(guest)
    assert record["_BOOT_ID"] == guest.boot_id.replace("-", "")
    assert [change.split(":")[0] for change in record["BOOTWATCH_CHANGE"]] == [
        "entry-missing",
        "loader-missing",
    ]
    check_own_update(guest)
    guest.check(
        f"systemd-run --property=RemainAfterExit=yes --property=ExecStop='/bin/sh -c \"{LATE}\"' true"
    )
    guest.power_off()

    replace_quarrys_loader(guest)
    guest.start_unseen(*stack.enter_context(tpm.running(folder)))
    guest.start(*stack.enter_context(tpm.running(folder)))
    wait_for_reading(guest)
    check_quarrys_own(last_drift(guest))
    check_circumstances(circumstances(guest, folder))
    guest.check(f"systemctl start {SENDER}")
    assert len(mails(guest)) == 1
    assert len(alerts(guest)) == 1
    check_who_was_told(guest)


def check_nobody_waits(guest: Guest) -> None:
    """Nothing of ours is what the start of the system had to wait for."""
    chain = guest.check("systemd-analyze critical-chain --no-pager")
    assert "multi-user.target" in chain and "bootwatch" not in chain, chain


def check_who_was_told(guest: Guest) -> None:
    """Anybody may see it. Root's test of the addresses goes out as the sender's user, without receipts."""
    (told,) = json.loads(guest.get("/run/bootwatch/send/state.json"))["told"]
    assert (told["address"], told["reader"]) == ("mailto://127.0.0.1", "technician")
    assert told["alert"] == json.loads(guest.get("/run/bootwatch/alert.json"))["message"]["alert"]
    listed = "ls -l --time-style=full-iso /var/lib/bootwatch-send"
    before = guest.check(listed)
    assert guest.check("bootwatch alerts test").strip() == "mailto://127.0.0.1: delivered"
    assert mails(guest)[1]["Subject"].endswith(": a test, nothing happened")
    assert guest.check(listed) == before


def check_own_update(guest: Guest) -> None:
    """A package of this system changes its loader: it is named, and it is no news."""
    update_own_loader(guest)
    guest.check("bootwatch snapshot")
    changes = last_drift(guest)
    assert placed(changes) == QUARRYS_UPDATE | OWN_UPDATE
    (own,) = (change for change in changes if change["accepted"])
    assert (own["change"], own["level"]) == ("loader-changed", "routine")
    assert "installed fernwick-loader (2.1)" in own["accepted"]


def check_quarrys_own(changes: list[dict[str, Any]]) -> None:
    """What was written on the way down is this system's; what changed while it was off is not, and the TPM
    has counted a start."""
    assert placed(changes) == QUARRYS_UPDATE | OWN_UPDATE | LATER
    (theirs,) = (change for change in changes if change["system"] == "Quarry")
    assert theirs["level"] == "routine"
    said = {one["trace"]: one["sentence"] for one in theirs["evidence"]}
    assert said["starts-unseen"] == "The TPM counted one start that this system did not see."


def check_circumstances(found: list[Circumstance]) -> None:
    """Snapshots before switching off are there, and were taken while the boot volume was mounted."""
    assert [one.moment.value for one in found] == MOMENTS
    assert {one.mounts.get(f"gpt:{FERNWICK_ESP}") for one in found} == {"/boot/efi"}
    ids = [one.boot_id for one in found]
    assert len({*ids[:4]}) == len({*ids[4:8]}) == 1 and len({*ids}) == 3
    first, *counts = [one.tpm_resets for one in found if one.tpm_resets is not None]
    assert [one.tpm_resets for one in found[:4]] == [None] * 4
    assert counts == [first, first, first, first + 2]
