"""Records of many machines in one journal: told apart, whole, and none lost on the way."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
import threading
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.tell import journal
from bootwatch.tell.journal import Fields
from tests.tell.journals import (
    DEADLINE,
    Origin,
    asked,
    has_namespaces,
    receiver,
    record_of,
    upload,
    uploading,
    write_journal,
)
from tests.tell.samples import HOSTILE, NO_WAY, QUIET, SEED_CHANGED, harmful, hostile_drift, message

pytestmark = pytest.mark.long

CATALOG = Path(__file__).parents[2] / "units/bootwatch.catalog"
STRANDED = Drift((SEED_CHANGED,), (NO_WAY,), ())
MANY = 200
IS_STRANDED, WAS_STRANDED, IS_HOSTILE = 17, 40, 99


def told(number: int) -> list[Message]:
    """What was told of machine ``number``."""
    weakened = message(snapshot=number)
    stranded = message(STRANDED, news=(NO_WAY.id,), snapshot=number)
    over = replace(message(QUIET), kind=Kind.ALL_CLEAR, is_over=Level.STRANDED, how="it is back", stage=2)
    what = {
        IS_STRANDED: [replace(stranded, still_open=Level.STRANDED)],
        WAS_STRANDED: [replace(stranded, still_open=Level.STRANDED), over],
        IS_HOSTILE: [replace(message(hostile_drift()), still_open=Level.WEAKENED)],
    }.get(number, [replace(weakened, still_open=Level.WEAKENED)])
    name, uid = HOSTILE if number == IS_HOSTILE else f"room-{number:03}", f"{number:016x}"
    return [replace(one, machine=name, alert=uid, called="a1", spoken="VANES KOLIP") for one in what]


def as_it_arrives(origin: Origin, record: Fields) -> dict[str, list[str]]:
    """A record's fields; one that comes several times with all its values."""
    found: dict[str, list[str]] = defaultdict(list)
    for name, value in (*origin.fields, *record):
        found[name].append(value)
    return {name: sorted(set(values)) for name, values in found.items()}


def own(record: dict[str, Any]) -> dict[str, list[str]]:
    """What the receiver keeps, without what it adds."""
    return {
        name: sorted(value) if isinstance(value, list) else [value]
        for name, value in record.items()
        if not name.startswith("__")
    }


def test_two_hundred_machines_in_one_journal(tmp_path: Path) -> None:
    origins = [Origin(number, f"room-{number:03}") for number in range(MANY)]
    records = [[record_of(one) for one in told(number)] for number in range(MANY)]

    def send(number: int) -> None:
        file = tmp_path / f"{number}.journal"
        write_journal(file, origins[number], records[number])
        upload(file, address)
        file.unlink()  # each takes 8 MB

    with receiver(tmp_path / "kept") as address, ThreadPoolExecutor(2) as pool:
        list(pool.map(send, range(MANY)))

    arrived = defaultdict(list)
    for one in asked(tmp_path / "kept"):
        arrived[one["_MACHINE_ID"]].append(own(one))
    assert dict(arrived) == {
        dict(origin.fields)["_MACHINE_ID"]: [
            as_it_arrives(origin, record) for record in records[origin.number]
        ]
        for origin in origins
    }
    hostile = arrived[f"{IS_HOSTILE:032x}"][0]
    assert "\\x1b" in hostile["BOOTWATCH_MACHINE"][0]
    assert not any(harmful(value) or "\n" in value for values in hostile.values() for value in values)

    # Whoever asks for what is grave sees one that is, and one that was.
    grave = asked(tmp_path / "kept", "BOOTWATCH_LEVEL=stranded")
    assert {one["_HOSTNAME"] for one in grave} == {"room-017", "room-040"}
    newest = {one["_MACHINE_ID"]: one for one in asked(tmp_path / "kept")}
    stranded = [one for one in newest.values() if one["BOOTWATCH_STILL_OPEN"] == "stranded"]
    assert [(one["BOOTWATCH_MACHINE"], one["BOOTWATCH_ALERT_UID"]) for one in stranded] == [
        ("room-017", f"{IS_STRANDED:016x}")
    ]


@dataclass
class Cut:
    """A line that goes dead once ``most`` bytes went through it. ``passed`` is set then."""

    to: str
    most: int

    def __post_init__(self) -> None:
        self.passed, self._sockets = threading.Event(), [socket.create_server(("127.0.0.1", 0))]
        self.address = f"http://127.0.0.1:{self._sockets[0].getsockname()[1]}"
        threading.Thread(target=self._carry, daemon=True).start()

    def _carry(self) -> None:
        host, port = self.to.removeprefix("http://").split(":")
        there = socket.create_connection((host, int(port)))
        here, _ = self._sockets[0].accept()
        self._sockets += [here, there]
        threading.Thread(target=self._answer, args=(there, here), daemon=True).start()
        left = self.most
        while left and (piece := here.recv(min(left, 4096))):
            there.sendall(piece)
            left -= len(piece)
        self.passed.set()

    def _answer(self, there: socket.socket, here: socket.socket) -> None:
        while piece := there.recv(4096):
            here.sendall(piece)

    def close(self) -> None:
        # Shut down first: that wakes the thread that still waits for an answer.
        for one in self._sockets[1:]:
            one.shutdown(socket.SHUT_RDWR)
        for one in self._sockets:
            one.close()


def stages(first: int, last: int) -> Iterator[Fields]:
    for number in range(first, last):
        yield record_of(replace(told(IS_STRANDED)[0], stage=number))


def test_what_was_cut_off_is_sent_again(tmp_path: Path) -> None:
    """The sender is killed in the middle of what is new since it last noted how far it came."""
    file, origin = tmp_path / "attic.journal", Origin(1, "attic")
    with receiver(tmp_path / "kept") as address:
        write_journal(file, origin, stages(0, 200))
        upload(file, address)
        write_journal(file, origin, stages(200, 600), first=200)
        line = Cut(address, 100_000)
        with subprocess.Popen(uploading(file, line.address), stderr=subprocess.PIPE) as process:
            assert line.passed.wait(DEADLINE)
            process.kill()
            process.communicate(timeout=DEADLINE)
        line.close()
        upload(file, address)
    arrived = [int(one["BOOTWATCH_STAGE"]) for one in asked(tmp_path / "kept")]
    assert sorted(set(arrived)) == list(range(600))
    twice = sorted(number for number in set(arrived) if arrived.count(number) > 1)
    # Some came before the cut and again after it; by alert and stage they are the same.
    assert twice and len(twice) < 400 and min(twice) >= 199, "what was noted is not sent again"


NEW_KEY = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-noenc", "-days", "2"]


def certificate(folder: Path, name: str, *options: str) -> tuple[Path, Path]:
    """A new key and its certificate: signed by itself, unless the options say by whom."""
    key, signed = folder / f"{name}.key", folder / f"{name}.pem"
    command = ["openssl", "req", "-x509", *NEW_KEY, "-subj", f"/CN={name}", *options]
    subprocess.run([*command, "-keyout", str(key), "-out", str(signed)], check=True, capture_output=True)
    return key, signed


def test_over_https_machines_send_to_the_one_they_trust_only(tmp_path: Path) -> None:
    version = subprocess.run(["systemctl", "--version"], capture_output=True, text=True).stdout
    if "-GNUTLS" not in version:
        pytest.skip("not Debian's build, which asks machines for no certificate")
    key, authority = certificate(tmp_path, "authority")
    by_it = ("-CA", str(authority), "-CAkey", str(key), "-addext", "basicConstraints=critical,CA:FALSE")
    own_key, own = certificate(tmp_path, "records", *by_it, "-addext", "subjectAltName=IP:127.0.0.1")
    machines = {"attic": authority, "study": authority, "cellar": certificate(tmp_path, "another")[1]}
    sent = {}
    with receiver(tmp_path / "kept", f"--key={own_key}", f"--cert={own}", scheme="https") as address:
        for number, (name, trusted) in enumerate(machines.items()):
            write_journal(tmp_path / f"{name}.journal", Origin(number, name), [record_of(told(number)[0])])
            its_key, its = certificate(tmp_path, name, *by_it)
            options = (f"--key={its_key}", f"--cert={its}", f"--trust={trusted}")
            command = uploading(tmp_path / f"{name}.journal", address, *options)
            sent[name] = subprocess.run(command, capture_output=True, text=True, timeout=DEADLINE)
    assert {name: result.returncode for name, result in sent.items()} == {"attic": 0, "study": 0, "cellar": 1}
    assert "certificate" in sent["cellar"].stderr
    assert [one["_HOSTNAME"] for one in asked(tmp_path / "kept")] == ["attic", "study"]


@pytest.mark.skipif(not has_namespaces(), reason="needs namespaces")
def test_what_is_said_of_each_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As journalctl -x shows it on the machine."""
    written: list[Fields] = []
    monkeypatch.setattr(journal, "_write", lambda text, fields: written.append([("MESSAGE", text), *fields]))
    here = Places.below("/")
    news, over = told(WAS_STRANDED)
    still = replace(news, kind=Kind.REMINDER, opened="2026-11-23T06:00:00Z", stage=2)
    for one in (news, still, over):
        journal.announce(one, here)
    journal.announce_mistake(["line 3: least: there is no level bad"], here)
    journal.announce_untold("mailto:porter@example.org", "550 no such user", here)
    shown = explained(tmp_path, Origin(1, "attic"), written)
    assert re.findall(r"Subject: (.*)", shown) == [
        "What this machine needs in order to start has changed or is wrong",
        "A reminder: what this machine needs in order to start is still not as it was",
        "All clear: what people were told of is over, or has become less grave",
        "A mistake in the alert addresses: nobody is told of changes",
        "An alert address refused a message for good",
    ]
    assert not re.search("@[A-Z]", shown)
    assert "bootwatch alerts quiet a1 --until TIME" in shown


def explained(root: Path, origin: Origin, records: list[Fields]) -> str:
    """What journalctl -x shows where the catalog is installed. It asks the one of the running system, so that
    is hidden behind the one made here."""
    catalog, made = root / "usr/local/lib/systemd/catalog", root / "var/lib/systemd/catalog"
    for folder in (catalog, made):
        folder.mkdir(parents=True)
    shutil.copy(CATALOG, catalog)
    write_journal(root / "its.journal", origin, records)
    subprocess.run(["journalctl", f"--root={root}", "--update-catalog"], check=True, capture_output=True)
    script = 'mount --bind "$1" /var/lib/systemd/catalog && exec journalctl --file="$2" --catalog --no-pager'
    command = ["unshare", "-Urm", "sh", "-c", script, "sh", str(made), str(root / "its.journal")]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=DEADLINE).stdout
