"""Plans for states written down by hand, and damages to them."""

from __future__ import annotations

import struct
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from bootwatch.judge import altered
from bootwatch.judge.drift import compare
from bootwatch.judge.sides import Sides
from bootwatch.judge.weigh import Weights
from bootwatch.model.disk import Disk, Partition
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.model.variable import Variable, key
from bootwatch.model.volume import File
from bootwatch.recover.plan import Plan, plan
from bootwatch.recover.relocate import relocated
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, program, state

ON_FERNWICK, ON_QUARRY = f"gpt:{FERNWICK_PART}", f"gpt:{QUARRY_PART}"
NEW_PART = "81b2c3d4-e5f6-4a07-9b18-2c3d4e5f6a17"
Damage = Callable[[State], State]


def whole() -> State:
    return state(((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))


def looked_at(now: State) -> Snapshot:
    return Snapshot(Circumstance("this start", Moment.ASKED, "2026-05-04T10:00:00Z"), now)


def planned(
    now: State,
    before: State | None = None,
    *,
    mapped: Mapping[str, str] | None = None,
    without: Collection[str] = (),
    weights: Weights | None = None,
    also: Collection[str] = (),
) -> Plan:
    """What would be done about ``now``; every content was kept but those ``without``."""
    placed = relocated(before or whole(), now.disks, mapped)
    snapshot = looked_at(now)
    drift = compare(placed.state, (), snapshot, weights=weights).drift
    sides = Sides(placed.state, now, (), (), None, snapshot.circumstance)
    return plan(sides, snapshot, drift, lambda own: own not in without, (), placed.moves, weights, also)


# damages


def with_variable(now: State, name: str, data: bytes) -> State:
    return replace(now, variables={**now.variables, key(name): Variable(7, data)})


def with_partition(now: State, disk: Disk, part: Partition) -> State:
    """A disk's first partition, and the volume in it, as another one."""
    held = next(one for one in now.volumes.values() if one.disk == disk.key)
    moved = replace(held, identity=part.identifier, number=part.number)
    volumes = {name: one for name, one in now.volumes.items() if one is not held}
    table = replace(now.disks[disk.key], partitions=(part,))
    return replace(now, disks={**now.disks, disk.key: table}, volumes={**volumes, moved.identity: moved})


def renumbered(now: State) -> State:
    return with_partition(now, HALL, replace(HALL.partitions[0], number=7))


def reidentified(now: State) -> State:
    return with_partition(now, ATTIC, replace(ATTIC.partitions[0], identifier=f"gpt:{NEW_PART}"))


def emptied(now: State, identity: str) -> State:
    """A new file system."""
    held = now.volumes.get(identity)
    if held is None:
        return now
    return replace(now, volumes={**now.volumes, identity: replace(held, files={}, serial="9999-0000")})


def made_anew(now: State) -> State:
    """The partition deleted and created again, with a new file system."""
    return reidentified(emptied(now, ON_QUARRY))


def switched_off(now: State) -> State:
    return with_variable(now, "Boot0000", struct.pack("<I", 0) + ENTRIES[0][4:])


def overwritten(now: State, identity: str, path: str, name: str) -> State:
    return altered.with_copy(now, identity, replace(program(name), path=path), path)


def default_taken(now: State) -> State:
    """Quarry puts its own loader at Fernwick's default path, and starts from there only."""
    now = overwritten(now, ON_FERNWICK, DEFAULT, "quarry")
    return altered.without_file(now, ON_QUARRY, QUARRY)


def loader_emptied(now: State) -> State:
    empty = File(FERNWICK, 0, "", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
    return altered.with_copy(now, ON_FERNWICK, empty, FERNWICK)


DAMAGES: dict[str, Damage] = {
    "an entry deleted": lambda now: altered.without_entry(now, 1),
    "all entries deleted": altered.without_entries,
    "order turned": lambda now: altered.with_order(now, (1, 0)),
    "order gone": altered.without_order,
    "switched off": switched_off,
    "next set": lambda now: with_variable(now, "BootNext", b"\1\0"),
    "loader gone": lambda now: altered.without_file(now, ON_FERNWICK, FERNWICK),
    "loader emptied": loader_emptied,
    "loader replaced": lambda now: overwritten(now, ON_QUARRY, QUARRY, "quarry 2"),
    "folder gone": lambda now: altered.without_folder(now, ON_FERNWICK, "\\EFI"),
    "volume emptied": lambda now: emptied(now, ON_FERNWICK),
    "partition renumbered": renumbered,
    "partition with another identifier": reidentified,
    "partition made anew": made_anew,
    "default file taken": default_taken,
}
