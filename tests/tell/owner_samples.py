"""Messages for owners, made by hand: two systems on two disks, each with two ways, and what starts next."""

from __future__ import annotations

from typing import Any

from bootwatch.model.alert import Kind
from bootwatch.model.care import Care
from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from tests.tell import samples
from tests.tell.route_samples import (
    DEFAULT,
    LOADER,
    OTHER,
    QUARRY,
    RUNNING,
    Document,
    document,
    following,
    route,
    step,
    system,
)

TOLD_AT = "2026-11-25T07:12:05Z"
ANNA = Care("Anna", "01234 567890", "F9", "the red stick in the desk drawer")
FERNWICK_NEXT = step("Boot0000", "Fernwick Linux", LOADER)
QUARRY_NEXT = step("Boot0001", "Quarry", QUARRY, OTHER)
TARN_NEXT = step("Boot0004", "Tarn Rescue", DEFAULT, "c7e95a10-44d8-4b6e-8f03-91b2d7c6ea03")
NOTHING = {**FERNWICK_NEXT, "by": "nothing", "entry": None, "label": "", "file": None, "outcome": "passed"}
SETUP = {**NOTHING, "by": "setup", "outcome": "starts"}

_STARTS = {"by itself": True, "on request": True, "not at all": False, "not known": None}
_INSTEAD = samples.change("order-changed", Level.DIVERTED, "Fernwick Linux", "the boot order")


def fernwick(how: str = "by itself", label: str = "Fernwick Linux", **other: Any) -> Document:
    ways = {"starts": _STARTS[how], "unattended": how == "by itself", "followed_to": "kernel", **other}
    return system(
        "Fernwick Linux", route("Boot0000", label, LOADER, **ways), route(None, "", DEFAULT, **ways), how=how
    )


def quarry(how: str = "by itself", **other: Any) -> Document:
    ways = {"starts": _STARTS[how], "unattended": how == "by itself", "system": "Quarry", **other}
    return system("Quarry", route("Boot0001", "Quarry", QUARRY, OTHER, **ways), how=how)


def tarn(how: str = "by itself") -> Document:
    """On a stick that is plugged in."""
    way = route("Boot0004", "Tarn Rescue", DEFAULT, TARN_NEXT["partition"], system="Tarn Rescue")
    return system("Tarn Rescue", way, how=how, removable=True)


def lost(name: str = "Quarry") -> Finding:
    return Finding("no-way-left:11aa", "no-way-left", Level.STRANDED, name, name, "Boot0001")


def message(
    level: Level | None,
    *systems: Document,
    following_step: Document = FERNWICK_NEXT,
    starts: str | None = "Fernwick Linux",
    expected: bool | None = True,
    changes: tuple[Change, ...] | None = None,
    findings: tuple[Finding, ...] = (),
    certain: bool = True,
    candidates: tuple[str | None, ...] = (),
    care: Care = ANNA,
    kind: Kind = Kind.NEWS,
    cautions: tuple[str, ...] = (),
    **other: Any,
) -> Message:
    """``level`` is what is open. Without ``changes``: what leads to the other start, where one is meant."""
    may = [following(following_step, name) for name in candidates]
    ahead = following(following_step, starts, certain=certain, candidates=may)
    routes = document(
        ahead, systems=systems or (fernwick(), quarry()), cautions=list(cautions), running=RUNNING
    )
    found = (_INSTEAD,) if level is Level.DIVERTED else ()
    usual: dict[str, Any] = {
        "id": "5-1f",
        "machine": "reading-room-3",
        "snapshot": 5,
        "moment": "boot",
        "time": TOLD_AT,
        "baseline_saved": TOLD_AT,
        "baseline_reason": "installed",
        "drift": Drift(found if changes is None else changes, findings, ()),
        "news": (),
        "kind": kind,
        "alert": "0f6a2c5193b7e0e1",
        "called": "a7",
        "still_open": level,
        "routes": routes,
        "state": {"next_start": {"expected": expected}},
        "care": care,
        "spoken": "FHY XXW QBWK",
    }
    return Message(**(usual | other))


def diverted(*systems: Document, **other: Any) -> Message:
    """Quarry would start instead of Fernwick Linux."""
    usual: dict[str, Any] = {"following_step": QUARRY_NEXT, "starts": "Quarry", "expected": False}
    return message(Level.DIVERTED, *systems, **(usual | other))


def put_there(change: str = "loader-added") -> Change:
    """What is to start next came anew, and nothing expects it."""
    place = {"volume": f"gpt:{OTHER}", "path": QUARRY.upper()}
    found = samples.change(change, Level.DIVERTED, "Fernwick Linux", f"the loader {QUARRY}")
    return Change(**{**found.__dict__, "scope": place})
