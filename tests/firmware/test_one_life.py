"""The main job on real firmware: installed, a baseline, another system's update, the next start, one mail."""

import hashlib
import io
import json
import re
import shlex
import tarfile
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import yaml

from bootwatch.tell.journal import ALERT_ID
from tests.firmware import base, firmware
from tests.firmware.guest import Guest, Place
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
# systemd's record of a unit that ran and ended well (sd-messages.h, SD_MESSAGE_UNIT_SUCCESS).
ENDED_WELL = "7ad2d189f7e94e70a38c781354912448"
READER, SENDER = "bootwatch-read@boot.service", "bootwatch-send.service"
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


def prepare(guest: Guest) -> None:
    """A mail server, the alert address, the checkout."""
    guest.put("/usr/local/lib/mailbox.py", (FILES / "mailbox.py").read_bytes())
    guest.put("/etc/systemd/system/mailbox.service", (FILES / "mailbox.service").read_bytes())
    guest.put("/etc/systemd/system/bootwatch-boot.timer.d/soon.conf", SOON.encode())
    guest.put("/etc/bootwatch/addresses.yaml", ADDRESSES.encode(), 0o600)
    guest.put("/root/bootwatch.tar.gz", checkout())
    guest.check("mkdir bootwatch && tar -xzf bootwatch.tar.gz -C bootwatch")
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
    text = mail.get_content()
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


def test_one_life(guest: Guest) -> None:
    prepare(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline")
    wait_for_reading(guest)
    assert never_mounted(guest) == {base.QUARRY_LOADER: hashlib.sha256(program("leaver")).hexdigest()}
    document = routes(guest)
    assert foreseen(document) == (f"Boot{base.FERNWICK_ENTRY:04X}", FERNWICK_ESP, base.FERNWICK_LOADER)
    depths = {one["name"]: (one["starts"], one["routes"][0]["followed_to"]) for one in document["systems"]}
    assert depths == {"Fernwick Linux": (True, "kernel"), "Quarry": (True, "loader")}
    guest.power_off()

    update_quarry(guest)
    guest.start()
    quarry, fernwick = loaders_that_ran(guest)
    assert quarry.endswith(base.QUARRY_LOADER)
    assert fernwick == FERNWICK_ESP + firmware.X64.default_file
    wait_for_reading(guest)
    wait_for_record(guest, "_PID=1", f"UNIT={SENDER}", f"MESSAGE_ID={ENDED_WELL}")
    (mail,) = mails(guest)
    check_mail(mail)
    document = routes(guest)
    assert foreseen(document) == (f"Boot{base.QUARRY_ENTRY:04X}", QUARRY_ESP, base.QUARRY_LOADER)
    assert (document["record"]["right"], document["record"]["judged"]) == (0, 1), "another way was foreseen"
    (record,) = alerts(guest)
    assert record["_BOOT_ID"] == guest.boot_id.replace("-", "")
    assert [change.split(":")[0] for change in record["BOOTWATCH_CHANGE"]] == [
        "entry-missing",
        "loader-missing",
    ]
    guest.power_off()

    guest.start()
    wait_for_reading(guest)
    guest.check(f"systemctl start {SENDER}")
    assert len(mails(guest)) == 1
    assert len(alerts(guest)) == 1
