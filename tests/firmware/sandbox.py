"""What each unit must not be able to do, tried from within its own sandbox in the running guest."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.firmware.guest import Guest

PLACE = "/usr/local/lib/probe"
OUTPUT = "/var/tmp/probe.out"
FILES = Path(__file__).parent / "guest_files"
# All else of the unit stays as it is. What waits for the program to say that it is up would wait for ever.
IN_ITS_PLACE = f"""[Unit]
StartLimitIntervalSec=0
[Service]
Type=oneshot
Restart=no
WatchdogSec=0
TimeoutStartSec=5min
ExecCondition=
ExecStartPre=
ExecStart=
ExecStartPost=
ExecStopPost=
ExecStart=/usr/bin/python3 {PLACE}/probe.py
StandardOutput=truncate:{OUTPUT}
"""
# The ways in which the kernel says no; and a place that isn't there at all.
REFUSED = frozenset(
    {"EACCES", "EPERM", "EROFS", "ENXIO", "ENOENT", "EAFNOSUPPORT", "ENODEV", "ENETUNREACH", "ESRCH"}
)


@dataclass(frozen=True)
class Try:
    """One attempt: its kind (a function of the probe), what it is tried on, and in one word what that is."""

    kind: str
    path: str
    what: str


def probe(guest: Guest, unit: str, tries: Sequence[Try], meanwhile: str = "") -> list[str]:
    """How each attempt went, made in the place of ``unit``. ``meanwhile`` is a command that is run once the
    unit runs, before anything is tried."""
    attempts = {"wait": bool(meanwhile), "tries": [[one.kind, one.path] for one in tries]}
    guest.check(f"mkdir -p {PLACE} /run/systemd/system/{unit}.d")
    guest.put(f"{PLACE}/probe.py", (FILES / "probe.py").read_bytes())
    guest.put(f"{PLACE}/attempts.json", json.dumps(attempts).encode())
    guest.check(f"cd {PLACE}; rm -f up go {OUTPUT}; mkfifo -m 644 up go; touch {OUTPUT}")
    guest.put(f"/run/systemd/system/{unit}.d/probe.conf", IN_ITS_PLACE.encode())
    guest.check("systemctl daemon-reload")
    start = f"systemctl start {unit}"
    if meanwhile:
        up, go = (f"timeout 60 sh -c 'echo >{PLACE}/{pipe}'" for pipe in ("up", "go"))
        start = f"{start} & job=$!; {up} && {meanwhile} && {go} && wait $job"
    done = guest.run(start, silence=300)
    assert done.status == 0, _last_words(guest, unit)
    guest.check(f"rm -r /run/systemd/system/{unit}.d && systemctl daemon-reload")
    said: list[str] = json.loads(guest.get(OUTPUT).splitlines()[-1])
    return said


def _last_words(guest: Guest, unit: str) -> str:
    return guest.run(f"systemctl status {unit}; journalctl --no-pager -n 40 -u {unit}").output


def table(unit: str, tries: Sequence[Try], results: Sequence[str]) -> str:
    """For people: what was tried in which unit, and what the kernel said."""
    rows = [f"{unit:34} {one.what:34} {one.kind:9} {said}" for one, said in zip(tries, results, strict=True)]
    return "\n".join(rows)
