"""Messages of every kind as the reader hands them over, with what starts next, for the tests of outlets."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from tests.tell.route_samples import LOADER, OTHER, QUARRY, document, following, route, step, system
from tests.tell.samples import ENTRY_MISSING, LOADER_MISSING, ORDER_CHANGED, SEED_CHANGED, elsewhere, message

STATE: dict[str, Any] = {
    "format": "bootwatch/state/1",
    "machine": "reading-room-3",
    "id": "5b" * 16,
    "time": "2026-11-25T07:12:05Z",
    "starts": ["2026-11-25T07:11:40Z", "2026-11-24T07:03:12Z"],
}
_FIRST = step("Boot0000", "Fernwick Linux", LOADER)
_SECOND = step("Boot0001", "Quarry", QUARRY, OTHER)
_BY_FERNWICK = route("Boot0000", "Fernwick Linux", LOADER, followed_to="kernel")
_BY_QUARRY = route("Boot0001", "Quarry", QUARRY, OTHER, system="Quarry")
_FERNWICK, _QUARRY = system("Fernwick Linux", _BY_FERNWICK), system("Quarry", _BY_QUARRY)
_NO_QUARRY = system("Quarry", how="not at all", why="no entry and no default file leads to it")

AS_USUAL = document(following(_FIRST, "Fernwick Linux"), _FIRST, systems=(_FERNWICK, _QUARRY))
QUARRY_NEXT = document(following(_SECOND, "Quarry"), _SECOND, systems=(_FERNWICK, _QUARRY))
QUARRY_LOST = document(following(_FIRST, "Fernwick Linux"), _FIRST, systems=(_FERNWICK, _NO_QUARRY))


def _told(one: Change, routes: dict[str, Any], **other: Any) -> Message:
    told = message(Drift((one, SEED_CHANGED), (), ()), news=(one.id,), identity=f"id of {one.id}")
    return replace(
        told,
        alert="a1b2c3d4e5f60718",
        called="a1",
        opened="2026-11-25T07:12:05Z",
        still_open=one.level,
        routes=routes,
        state=STATE,
        spoken="FWK QKB HFKL",
        **other,
    )


def stranded() -> Message:
    consequence = "Quarry would not start any more: no way to it is left."
    gone = replace(
        LOADER_MISSING, level=Level.STRANDED, system="Quarry", what=f"the loader {QUARRY}",
        where=f"gpt:{OTHER} {QUARRY}", consequence=consequence,
    )  # fmt: skip
    return _told(elsewhere(gone), QUARRY_LOST)


def diverted() -> Message:
    moved = replace(
        ORDER_CHANGED,
        level=Level.DIVERTED,
        system="Fernwick Linux",
        consequence="At the next switch-on Quarry would start instead of Fernwick Linux.",
    )
    return _told(elsewhere(moved), QUARRY_NEXT)


def weakened() -> Message:
    less = (
        'Fernwick Linux still starts, through the entry "UEFI Hall Disk" and 1 other way; one way to it is '
        "gone."
    )
    return _told(elsewhere(replace(ENTRY_MISSING, consequence=less)), AS_USUAL)


def reminder() -> Message:
    return replace(
        diverted(),
        id="id of a reminder",
        kind=Kind.REMINDER,
        news=(),
        stage=2,
        snapshot=12,
        time="2026-12-02T07:10:00Z",
    )


def all_clear() -> Message:
    return replace(
        reminder(),
        id="id of an all-clear",
        kind=Kind.ALL_CLEAR,
        stage=3,
        drift=Drift((SEED_CHANGED,), (), ()),
        is_over=Level.DIVERTED,
        still_open=None,
        how="the machine is back at its baseline",
        routes=AS_USUAL,
    )


def better() -> Message:
    """An all-clear after which something less bad is left."""
    return replace(
        weakened(), id="id of a part", kind=Kind.ALL_CLEAR, news=(), stage=2, is_over=Level.STRANDED
    )


def sign_of_life() -> Message:
    return replace(
        all_clear(), id="id of a sign", kind=Kind.SIGN_OF_LIFE, alert="", called="", opened="", is_over=None,
        how="", stage=1,
    )  # fmt: skip
