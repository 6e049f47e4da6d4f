"""Machines with systems on them, written down by hand, and what is learnt of them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import replace

from bootwatch.judge.systems import Naming, System, Systems
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.paths import drive, file, option

HALL = states.disk("hall", states.FERNWICK_PART, states.TARN_PART)
ATTIC = states.disk("attic", states.QUARRY_PART, address=states.VIRTIO.format(5, 5))
STICK_PART = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
STICK = states.disk("stick", STICK_PART, address=states.STICK.format(1), removable=True)
HALL_1, HALL_2, ATTIC_1, STICK_1 = (
    f"gpt:{part}" for part in (states.FERNWICK_PART, states.TARN_PART, states.QUARRY_PART, STICK_PART)
)
FIRMWARE_MARK = uuid.UUID("8108ac4e-9f11-4d59-850e-e21a522c59b2").bytes_le
RELEASE = {"id": "fernwick", "name": "Fernwick Linux", "pretty_name": "Fernwick Linux 7 (Heron)"}


def program(content: str, machine: int = states.X64, subsystem: int = 10, **names: str) -> File:
    """An EFI application; ``names`` is what it calls itself."""
    made = states.program(content, machine, subsystem)
    assert made.program
    return replace(made, program=replace(made.program, names=names))


def entry(label: str, part: str, path: str, data: bytes = b"", attributes: int = 1) -> bytes:
    return option(label, drive(part), file(path), data=data, attributes=attributes)


FERNWICK_ENTRY = entry("Fernwick Linux", states.FERNWICK_PART, states.FERNWICK)
QUARRY_ENTRY = entry("Quarry", states.QUARRY_PART, states.QUARRY, b"QRY1")
ON_HALL = {states.FERNWICK: program("fernwick")}
ON_ATTIC = {states.QUARRY: program("quarry")}


def two_systems(
    entries: Mapping[int, bytes] | None = None,
    hall: Mapping[str, File] | None = None,
    attic: Mapping[str, File] | None = None,
    **facts: object,
) -> State:
    """Fernwick Linux on one disk, Quarry on another, but for what is given."""
    held = [(HALL, 1, ON_HALL if hall is None else hall), (ATTIC, 1, ON_ATTIC if attic is None else attic)]
    known = {0: FERNWICK_ENTRY, 1: QUARRY_ENTRY} if entries is None else entries
    made = states.state(held, entries=known, order=tuple(known))
    return replace(made, facts={**made.facts, **facts})


def labelled(state: State, **labels: str) -> State:
    """The same with labels on the volumes, by the kind and first letters of their identity."""
    volumes = {
        identity: replace(one, label=labels.get(f"v{identity[4:8]}", one.label))
        for identity, one in state.volumes.items()
    }
    return replace(state, volumes=volumes)


def learnt(*known: State, naming: Naming | None = None) -> dict[str, System]:
    """The systems by their names."""
    return {system.name: system for system in Systems.learn(known, naming).all()}


def names(*known: State) -> list[str]:
    return list(learnt(*known))
