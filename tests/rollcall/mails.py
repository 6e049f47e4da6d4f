"""Real mails of made-up machines: composed and sealed as the sender does, stamped as a server does."""

from __future__ import annotations

import datetime
import email.utils
import functools
from collections import Counter
from pathlib import Path
from typing import Any

from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.rollcall.sighting import Sighting
from bootwatch.tell import mail_route
from bootwatch.tell.letter import Letter, compose
from bootwatch.tell.part import new_key, seal
from bootwatch.tell.state import state_document

(ROUTE,) = mail_route.parse("mailto://mail.example.org?from=pc@example.org&to=roll@example.org", "pc")
BEGIN = datetime.datetime(2026, 3, 2, 8, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)
KEYS = {name: new_key() for name in ("study", "kitchen", "stranger")}


def stamp(time: datetime.datetime) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ")


def document(
    machine: str, number: int, day: float, level: Level | None = None, **members: Any
) -> dict[str, Any]:
    """A state as the reader makes it, with what the sender adds."""
    starts = [stamp(BEGIN + (day - back) * DAY) for back in range(20)]
    other = level in (Level.STRANDED, Level.DIVERTED)
    routes = {
        "next_start": {"by": "entry", "system": "Quarry" if other else "Fernwick Linux", "certain": True},
        "systems": [
            {"name": "Fernwick Linux", "starts": level is not Level.STRANDED, "how": "", "removable": False}
        ],
    }
    state = state_document(
        machine=machine,
        machine_id=machine,
        time=starts[0],
        snapshot=number,
        starts=starts,
        levels=Counter({level: 1} if level else {}),
        drift=Drift((), (), ()),
        routes=routes,
        next_expected=not other,
        spoken="",
        sign_of_life=None,
    )
    del state["sign_of_life"]  # as versions that didn't say it: its rhythm shows it
    alert = {"kind": "news", "alert": "x", "called": "a1", "stage": 1, "opened": starts[0], "message": "m"}
    sign = {"kind": "sign of life", "alert": None, "called": "", "stage": 1, "opened": "", "message": "m"}
    return state | (alert if level else sign) | members


def of(sighting: Sighting) -> dict[str, Any]:
    """The document that a sighting of the simulated fleet would have come from."""
    state = sighting.state
    level = state.level
    made = document(state.machine, state.snapshot, 0, level, called=state.called)
    return made | {
        "time": stamp(state.time),
        "starts": [stamp(one) for one in state.starts],
        "id": state.id,
        "kind": state.kind.value,
    }


def mail(part: bytes, time: datetime.datetime, machine: str = "study") -> bytes:
    """As it lies in a mailbox."""
    letter = Letter(f"{machine} {time}", f"{machine}: a sign of life", "All is well.\n", "", part)
    letter_bytes = compose(letter, ROUTE, time).as_bytes().replace(b"\r\n", b"\n")
    received = f"Received: from {machine} by mail.example.org; {email.utils.format_datetime(time)}\n"
    return received.encode() + letter_bytes


@functools.cache
def signed(machine: str, number: int, day: float, level: Level | None = None) -> bytes:
    """A proven mail of ``machine``."""
    state = document(machine, number, day, level)
    return mail(seal(state, KEYS.get(machine)), BEGIN + day * DAY, machine)


def signs(machine: str = "study", until: int = 70) -> list[bytes]:
    """One each week."""
    return [signed(machine, 10 + day, day) for day in range(0, until + 1, 7)]


def maildir(folder: Path, mails: list[bytes]) -> Path:
    """Half of them new, half of them read."""
    for name in ("new", "cur", "tmp"):
        (folder / name).mkdir(parents=True)
    for number, data in enumerate(mails):
        name = f"new/{number}.host" if number % 2 else f"cur/{number}.host:2,S"
        (folder / name).write_bytes(data)
    return folder


def mbox(file: Path, mails: list[bytes]) -> Path:
    head = b"From pc@example.org Mon Mar  2 08:00:00 2026\n"
    file.write_bytes(b"".join(head + data.replace(b"\nFrom ", b"\n>From ") + b"\n" for data in mails))
    return file
