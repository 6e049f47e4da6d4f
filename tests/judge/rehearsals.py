"""Machines of two systems, and what is rehearsed on them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache

from bootwatch.judge.losses import Kind
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Rehearsal, Rehearsed, SystemRehearsal
from bootwatch.judge.systems import System, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.dual import ON_ATTIC, ON_HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.states import (
    FERNWICK_PART,
    QUARRY_PART,
    TARN_PART,
    VIRTIO,
    disk,
    state,
)

HALL, ATTIC = disk("hall", FERNWICK_PART, TARN_PART), disk("attic", QUARRY_PART, address=VIRTIO.format(5, 5))


def machine(
    hall: Mapping[str, File] = ON_HALL,
    attic: Mapping[str, File] = ON_ATTIC,
    *,
    entries: Mapping[int, bytes] | None = None,
    order: tuple[int, ...] | None = (0, 1),
    more: states.Volumes = (),
    **variables: bytes,
) -> State:
    volumes = ((HALL, 1, hall), (ATTIC, 1, attic), *more)
    known = {0: TO_FERNWICK, 1: TO_QUARRY} if entries is None else entries
    return state(volumes, entries=known, order=order, variables=variables)


def rehearsed(one: State, gaps: tuple[Gap, ...] = (), home: str | None = "Fernwick Linux") -> Rehearsal:
    systems = Systems.learn([one])
    return rehearse(one, gaps, systems, named(systems, home) if home else None)


def named(systems: Systems, name: str) -> System:
    return next(one for one in systems.all() if one.name == name)


@cache
def usual() -> Rehearsal:
    """Of the usual machine: Fernwick Linux has a default file, Quarry has none."""
    return rehearsed(machine())


def after(found: Rehearsal, kind: Kind, what: str = "") -> Rehearsed:
    """The one loss of a kind whose noun phrase holds ``what``."""
    (loss,) = (one for one in found.losses if one.loss.kind is kind and what in one.loss.what)
    return loss


def of(found: Rehearsal, name: str) -> SystemRehearsal:
    return next(one for one in found.systems if one.outlook.name == name)


def starts(loss: Rehearsed) -> dict[str, str]:
    return {one.name: one.how.value for one in loss.seen.systems}


def points(found: Rehearsal, name: str) -> set[tuple[str, str, str]]:
    """A system's single points, each as kind, noun phrase and effect."""
    losses = {loss.number: loss.loss for loss in found.losses}
    return {
        (losses[number].kind.value, losses[number].what, effect.value)
        for number, effect in of(found, name).points
    }


MENU = b'menuentry "Fernwick Linux" {\n  linux /fernwick/kernel ro\n  initrd /fernwick/initrd\n}\n'


@cache
def with_menu() -> Rehearsal:
    """Beside the loader lie settings that lead to a kernel; the default file is the same program."""
    settings = File("", len(MENU), "", hashlib.sha256(MENU).hexdigest())
    kernel = {
        "\\fernwick\\kernel": states.program("kernel"),
        "\\fernwick\\initrd": states.text("initrd", 5000),
    }
    one = machine({**ON_HALL, "\\EFI\\fernwick\\menu.cfg": settings, **kernel})
    one.texts[settings.sha256 or ""] = MENU
    return rehearsed(one)
