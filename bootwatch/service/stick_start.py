"""Whether this machine's firmware would start a stick: worked out by the reader's user where there is one."""

from __future__ import annotations

import base64
import json
import os
from pathlib import Path
from typing import Any

from bootwatch.formats.pe import Image
from bootwatch.judge.stick_start import Stick, stick_start
from bootwatch.keep.conform import require
from bootwatch.keep.history import History
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.read import observed
from bootwatch.service.stick import Shell, attached

Document = dict[str, Any]
_UNKNOWN = {
    "chosen": {"starts": None, "why": "no snapshot of the machine tells it"},
    "by_itself": {"starts": None, "why": "no snapshot of the machine tells it"},
    "at_last": False,
}


def start_of(places: Places, to: Path, shell: Shell) -> Document:
    """The stick at ``to`` with ``shell``, tried on the newest snapshot. That nothing can be told of it is no
    failure: what was written is written."""
    address, removable = attached(to) if places.is_this_machine else ("", True)
    given = {"address": address, "removable": removable, "shell": base64.b64encode(shell.data).decode()}
    try:
        if not must_ask(places):
            return _tried(given, observed(places).snapshot)
        return _by_reader(given)
    except Problem:
        return _UNKNOWN


def _by_reader(given: Document) -> Document:
    with open(os.memfd_create("bootwatch-stick"), "w+b") as file:
        file.write(json.dumps(given).encode())
        file.flush()
        file.seek(0)
        status = as_reader(["baseline", "export", "--stick", str(file.fileno())], [file.fileno()])
        file.seek(0)
        return _checked(json.load(file)) if status == 0 else _UNKNOWN


def answer(places: Places, descriptor: int) -> None:
    """What the reader's user is asked for: what it finds takes the place of what was handed over."""
    with os.fdopen(descriptor, "r+b") as file:
        given = json.load(file)
        newest = _newest(places)
        found = _tried(given, newest) if newest else _UNKNOWN
        file.seek(0)
        file.truncate()
        file.write(json.dumps(found).encode())


def _newest(places: Places) -> Snapshot | None:
    with History.look(places.history) as history:
        row = next(iter(history.rows(1)), None) if history else None
        return history.snapshot(row.number) if history and row else None


def _tried(given: Document, snapshot: Snapshot) -> Document:
    image = Image.parse(base64.b64decode(given["shell"]))
    stick = Stick(given["address"], given["removable"], image)
    return stick_start(snapshot.state, snapshot.gaps, stick).to_json()


def _checked(found: Any) -> Document:
    """Each value of its kind. Raises Problem."""
    try:
        for name in ("chosen", "by_itself"):
            require(found[name]["starts"], bool | None, name)
            require(found[name]["why"], str, name)
        require(found["at_last"], bool, "at_last")
    except (KeyError, TypeError, ValueError) as error:
        raise Problem(f"What would become of the stick can't be used: {error}.") from error
    return dict(found)
