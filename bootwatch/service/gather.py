"""Gathering what a look at bootwatch itself goes by, with the caller's rights."""

from __future__ import annotations

import contextlib
import os
import subprocess
from pathlib import Path
from typing import Any

from bootwatch import addresses
from bootwatch.checked_yaml import SettingsProblem
from bootwatch.config import Config
from bootwatch.keep.history import FILE_NAME
from bootwatch.keep.receipts import Receipts, utc_now
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.alerts import published
from bootwatch.service.gather_kept import of_kept
from bootwatch.service.gathered import Gathered, Unit
from bootwatch.service.left import left_for_all
from bootwatch.service.rights import wrong_rights

UNITS = (
    "bootwatch-boot.timer",
    "bootwatch-daily.timer",
    "bootwatch-shutdown.service",
    "bootwatch-watch.service",
    "bootwatch-watch.path",
    "bootwatch-send.path",
    "bootwatch-send.timer",
    "bootwatch-kit.path",
    "bootwatch-kit.timer",
)
# Started by the system manager after each time that the machine slept.
STARTED = ("bootwatch-read@resume.service",)
_SYSTEMD = Path("/run/systemd/system")
_NEWEST = 50
_SOON = 3600.0  # seconds

Document = dict[str, Any]


def gather(places: Places) -> Gathered:
    """What the caller may know; whatever fails is told as what is wrong."""
    sending = left_for_all(places, "send/state.json") or {}
    number, mistakes = _addresses(places, sending)
    return Gathered(
        now=utc_now(),
        settings_file=str(places.config),
        history_file=str(places.history / FILE_NAME),
        settings_mistakes=_settings_mistakes(places),
        addresses_file=str(places.addresses),
        addresses=number,
        address_mistakes=mistakes,
        untold=_untold(sending),
        told=_told_last(places, sending),
        units=_units() if places.is_this_machine and _SYSTEMD.is_dir() else None,
        **_of_kept(places),
    )


def _of_kept(places: Places) -> Document:
    if not may_read_all(places):
        return _of_published(places)
    found = of_kept(places)
    last = found.pop("last_start", None)
    if places.is_this_machine:
        found["is_read_since_start"] = _is_read_since_start(last)
        found["rights"] = [(one.said, one.mend) for one in wrong_rights(places)]
    return found


def may_read_all(places: Places) -> bool:
    """Whether the caller sees more than what is left for everybody."""
    return not places.is_this_machine or os.access(places.state, os.R_OK | os.X_OK)


def _settings_mistakes(places: Places) -> list[str]:
    try:
        Config.load(places.config)
    except UsageProblem as problem:
        return problem.message.splitlines()
    return []


def _addresses(places: Places, sending: Document) -> tuple[int | None, list[str]]:
    """How many there are, None where the caller may not know; and the mistakes in them. What only the sender
    finds wrong is what it left for everybody."""
    published = [str(one) for one in sending.get("mistakes", ())]
    file = places.addresses
    if file.exists() and not os.access(file, os.R_OK):
        return None, published
    try:
        number = len(addresses.load(places, environment={}))
    except SettingsProblem as problem:
        return None, problem.message.splitlines()
    except UsageProblem as problem:
        return None, [problem.message]
    return number, published if _is_checked_since(places) else []


def _is_checked_since(places: Places) -> bool:
    """Whether the sender looked at the addresses after they were written."""
    if places.run is None:
        return False
    try:
        return places.addresses.stat().st_mtime <= (places.run / "send/state.json").stat().st_mtime
    except OSError:
        return False


def _untold(sending: Document) -> list[Document] | None:
    """Deliveries that failed; None where nothing is known of any."""
    try:
        return [
            {
                "address": str(one["address"]),
                "why": str(one["why"]),
                "attempts": int(one["attempts"]),
                "first_try": str(one["first_try"]),
                "for_good": one["for_good"] is True,
            }
            for one in sending["untold"]
        ]
    except (KeyError, TypeError, ValueError):
        return None


def _told_last(places: Places, sending: Document) -> dict[str, str] | None:
    """The last message that got through: address and time."""
    told: list[dict[str, str]] = []
    with contextlib.suppress(KeyError, TypeError):
        told += [{"address": str(one["address"]), "time": str(one["time"])} for one in sending["told"]]
    with contextlib.suppress(OSError):
        names = sorted((path.name for path in places.receipts.glob("*.json")), reverse=True)[:_NEWEST]
        receipts = Receipts(places.receipts)
        told += [
            {"address": one.name, "time": one.last_try}
            for name in names
            for one in receipts.read(name).receipts.values()
            if one.outcome == "delivered"
        ]
    return max(told, key=lambda one: one["time"], default=None)


def _of_published(places: Places) -> Document:
    routes, drift = left_for_all(places, "routes.json") or {}, left_for_all(places, "drift.json") or {}
    alerts = (published(places) or {"alerts": []})["alerts"]
    baseline = drift.get("baseline")
    return {
        "read": routes.get("time"),
        "baseline": (baseline["saved"] if baseline else "") if "baseline" in drift else None,
        "alert": alerts[0] if alerts else None,
    }


def _is_read_since_start(last: str | None) -> bool | None:
    """Whether the machine was read since it was started; None within its first hour, and where that can't be
    told."""
    with contextlib.suppress(OSError, ValueError):
        now = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
        up = float(Path("/proc/uptime").read_text().split()[0])
        if last == now or up >= _SOON:
            return last == now
    return None


def _units() -> dict[str, Unit]:
    """What systemd says of our units, and of those among them that failed."""
    command = ["systemctl", "show", "--property=Id,UnitFileState,ActiveState,Result"]
    done = subprocess.run(
        [*command, *UNITS, *STARTED, "bootwatch-*"],
        stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return units_in(done.stdout)


def units_in(said: str) -> dict[str, Unit]:
    """The units in what ``systemctl show`` says: those that have to be enabled, and others that failed."""
    lasting = {name: name in UNITS for name in (*UNITS, *STARTED)}
    found = {
        name: Unit("not there", "not there", "", True, is_lasting) for name, is_lasting in lasting.items()
    }
    for block in said.split("\n\n"):
        one = dict(line.split("=", 1) for line in block.splitlines() if "=" in line)
        name, active = one.get("Id", ""), one.get("ActiveState") or "unknown"
        if name in lasting or (active == "failed" and name.startswith("bootwatch-")):
            enabled, result = one.get("UnitFileState") or "not there", one.get("Result") or ""
            found[name] = Unit(enabled, active, result, name in lasting, lasting.get(name, False))
    return found
