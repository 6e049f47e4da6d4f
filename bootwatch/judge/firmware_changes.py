"""What happened to the firmware's own settings and to the firmware itself."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from bootwatch.judge.drafts import Draft
from bootwatch.judge.sides import Sides
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL, IMAGE_SECURITY, key

_KEYS = {
    key("PK", GLOBAL): "the platform key (PK)",
    key("KEK", GLOBAL): "the key exchange keys (KEK)",
    key("db", IMAGE_SECURITY): "the allowed signatures (db)",
    key("dbx", IMAGE_SECURITY): "the forbidden signatures (dbx)",
}
FIRMWARE = ("firmware_vendor", "firmware_version", "firmware_date")


def firmware_changes(sides: Sides) -> Iterator[Draft]:
    """Secure Boot, its keys, the menu's waiting time, the firmware's version."""
    yield from _secure_boot(sides)
    yield from _keys(sides)
    yield from _timeout(sides)
    yield from _version(sides)


def _draft(change: str, variable: str, what: str, before: Any, after: Any) -> Draft:
    where = variable.partition("-")[0]
    return Draft(change, (where,), what, where, None, before, after, scope={"variables": variable})


def _secure_boot(sides: Sides) -> Iterator[Draft]:
    before, now = _is_on(sides.before), _is_on(sides.now)
    if before != now and sides.knows_variable(key("SecureBoot")):
        yield _draft("secure-boot-switched", key("SecureBoot"), "Secure Boot", before, now)


def _is_on(state: State) -> str:
    """Absent means off: such firmware checks nothing."""
    variable = state.variable("SecureBoot")
    return "on" if variable and variable.data == b"\x01" else "off"


def _keys(sides: Sides) -> Iterator[Draft]:
    for name, what in _KEYS.items():
        before, now = _digest(sides.before, name), _digest(sides.now, name)
        if before != now and sides.knows_variable(name):
            yield _draft("keys-changed", name, what, before, now)


def _digest(state: State, name: str) -> dict[str, Any] | None:
    variable = state.variables.get(name)
    if variable is None or not variable.data:
        return None
    return {"size": len(variable.data), "sha256": hashlib.sha256(variable.data).hexdigest()}


def _timeout(sides: Sides) -> Iterator[Draft]:
    before, now = _seconds(sides.before), _seconds(sides.now)
    if before != now and sides.knows_variable(key("Timeout")):
        what = "the time that the firmware waits before it starts"
        yield _draft("timeout-changed", key("Timeout"), what, before, now)


def _seconds(state: State) -> int | None:
    variable = state.variable("Timeout")
    return int.from_bytes(variable.data[:2], "little") if variable and len(variable.data) >= 2 else None


def _version(sides: Sides) -> Iterator[Draft]:
    before, now = firmware_name(sides.before), firmware_name(sides.now)
    if before != now and before and now:
        yield Draft("firmware-updated", ("firmware",), "the machine's firmware", "DMI", None, before, now)


def firmware_name(state: State) -> str:
    """Vendor, version and date in one line; "" where the machine doesn't say."""
    values = [state.facts.get(name) for name in FIRMWARE]
    return " ".join(str(value) for value in values) if all(values) else ""
