"""Journals of made-up machines: written, sent and received by systemd's own programs, on loopback."""

from __future__ import annotations

import contextlib
import json
import socket
import struct
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.model.message import Message
from bootwatch.tell.journal import Fields, alert_fields, alert_text

REMOTE = "/usr/lib/systemd/systemd-journal-remote"
UPLOAD = "/usr/lib/systemd/systemd-journal-upload"
DEADLINE = 60
_BEGIN = 1795590725_000000  # date -u -d 2026-11-25T07:12:05Z +%s
# The receiver finds its socket open, as the system manager hands it over: nobody waits until it listens.
_HANDED_OVER = 'exec 3<&0 0</dev/null; LISTEN_PID=$$ LISTEN_FDS=1 exec "$@"'


@dataclass(frozen=True)
class Origin:
    """What journald adds by itself to every record of a machine."""

    number: int
    host: str

    @property
    def fields(self) -> Fields:
        return [
            ("_MACHINE_ID", f"{self.number:032x}"),
            ("_BOOT_ID", f"{self.number + 0xB00700:032x}"),
            ("_HOSTNAME", self.host),
        ]


def record_of(message: Message) -> Fields:
    """What bootwatch itself puts into the journal."""
    return [("MESSAGE", alert_text(message)), ("SYSLOG_IDENTIFIER", "bootwatch"), *alert_fields(message)]


def write_journal(file: Path, origin: Origin, records: Iterable[Fields], first: int = 0) -> None:
    """A journal file with one record a second; added to one that is there."""
    stream = b"".join(
        _exported(origin, fields, place) for place, fields in enumerate(records, origin.number * 1000 + first)
    )
    subprocess.run([REMOTE, f"--output={file}", "-"], input=stream, capture_output=True, check=True)


def _exported(origin: Origin, fields: Fields, place: int) -> bytes:
    """One record in the journal's export format, each value with its length, as any bytes may be in it.
    The machine's are text: in no other form is the start's known."""
    head = [("__REALTIME_TIMESTAMP", str(_BEGIN + place * 1_000_000)), ("__MONOTONIC_TIMESTAMP", str(place))]
    lines = [f"{name}={value}\n".encode() for name, value in (*head, *origin.fields)]
    for name, value in fields:
        content = value.encode()
        lines.append(name.encode() + b"\n" + struct.pack("<Q", len(content)) + content + b"\n")
    return b"".join(lines) + b"\n"


@contextlib.contextmanager
def receiver(folder: Path, *options: str, scheme: str = "http") -> Iterator[str]:
    """A systemd-journal-remote that keeps what it is sent below ``folder``; its address. It ends by itself
    once all that arrived is written."""
    folder.mkdir(exist_ok=True)
    command = [REMOTE, f"--listen-{scheme}=-3", f"--output={folder}", *options]
    with socket.create_server(("127.0.0.1", 0), backlog=64) as listening:
        address = f"{scheme}://127.0.0.1:{listening.getsockname()[1]}"
        handed = ["sh", "-c", _HANDED_OVER, "sh", *command]
        process = subprocess.Popen(handed, stdin=listening.fileno(), stderr=subprocess.PIPE, text=True)
    with process:
        try:
            yield address
        finally:
            process.terminate()
            said = process.communicate(timeout=DEADLINE)[1]
    assert process.returncode == 0, said


def uploading(file: Path, address: str, *options: str) -> list[str]:
    """The command that sends a journal file, and knows by its state what was sent already."""
    state = file.with_suffix(".state")
    return [UPLOAD, f"--url={address}", f"--file={file}", f"--save-state={state}", "--follow=no", *options]


def upload(file: Path, address: str, *options: str) -> None:
    result = subprocess.run(
        uploading(file, address, *options), capture_output=True, text=True, timeout=DEADLINE
    )
    assert result.returncode == 0, result.stderr


def asked(folder: Path, *matches: str) -> list[dict[str, Any]]:
    """What journalctl finds in a folder of journals, in the order of arrival."""
    command = ["journalctl", f"--directory={folder}", "--output=json", *matches]
    result = subprocess.run(command, capture_output=True, text=True, timeout=DEADLINE)
    assert (result.returncode, result.stderr) == (0, "")
    return [json.loads(line) for line in result.stdout.splitlines()]


def has_namespaces() -> bool:
    """Whether something of the running system can be hidden from a child."""
    try:
        return subprocess.run(["unshare", "-Urm", "true"], capture_output=True).returncode == 0
    except FileNotFoundError:
        return False
