"""A baseline, everything that can happen to it, and what is taken over of that."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from bootwatch.judge.adopted import Adopted, Adoption
from bootwatch.judge.drift import compare
from bootwatch.model.change import Change
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.model.variable import IMAGE_SECURITY, Variable, key
from bootwatch.model.volume import File, Volume
from tests.judge import states
from tests.judge.installed import ATTIC, ATTIC_1, HALL, HALL_1, HALL_2, STICK, STICK_1, entry, program

CIRCUMSTANCE = Circumstance("one start", Moment.ASKED, "2026-11-27T07:00:00Z")
TARN = "\\EFI\\tarn\\rescuex64.efi"
NOTES, KERNEL = "\\notes.txt", "\\kernel.img"
DATA_TYPE = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"
NEW_PART = "gpt:0b1c2d3e-4f50-4a6b-8c7d-9e0f1a2b3c06"
FIRMWARE = {"firmware_vendor": "Demo", "firmware_version": "1.20", "firmware_date": "03/14/2026"}
FERNWICK_ENTRY = entry("Fernwick Linux", states.FERNWICK_PART, states.FERNWICK)
QUARRY_ENTRY = entry("Quarry", states.QUARRY_PART, states.QUARRY, b"QRY1")
TARN_ENTRY = entry("Tarn Rescue", states.TARN_PART, TARN)
NEW_ENTRY = entry("Cellar tools", states.QUARRY_PART, "\\EFI\\cellar\\tool.efi")


def baseline() -> State:
    on_hall = {states.FERNWICK: program("fernwick"), states.DEFAULT: program("fernwick")}
    on_hall |= {KERNEL: states.text("kernel"), NOTES: states.text("notes")}
    made = states.state(
        [
            (HALL, 1, on_hall),
            (HALL, 2, {TARN: program("tarn")}),
            (ATTIC, 1, {states.QUARRY: program("quarry")}),
        ],
        entries={0: FERNWICK_ENTRY, 1: QUARRY_ENTRY, 2: TARN_ENTRY},
        order=(0, 1, 2),
        variables={"Timeout": b"\x03\0"},
    )
    return replace(made, facts={**made.facts, **FIRMWARE}, texts={states.digest("notes"): b"notes"})


# what can happen


def variables(state: State, **values: bytes | None) -> State:
    """With variables of the global namespace set, or gone for None."""
    held = dict(state.variables)
    for name, data in values.items():
        held.pop(key(name), None)
        if data is not None:
            held[key(name)] = Variable(7, data)
    return replace(state, variables=held)


def with_file(state: State, volume: str, path: str, file: File | None) -> State:
    held = state.volumes[volume]
    rest = {name: one for name, one in held.files.items() if name != path}
    new = states.files({path: file}) if file else {}
    return replace(state, volumes={**state.volumes, volume: replace(held, files={**rest, **new})})


def with_volume(state: State, own: str, /, **fields: object) -> State:
    """With fields of a volume and its partition other than they were."""
    old = state.volumes[own]
    new: Volume = replace(old, **fields)  # type: ignore[arg-type]
    disk = state.disks[old.disk]
    parts = tuple(
        replace(part, identifier=new.identity, type=new.type or "", number=new.number or 0)
        if part.identifier == own
        else part
        for part in disk.partitions
    )
    volumes = {new.identity if name == own else name: one for name, one in state.volumes.items()}
    volumes[new.identity] = new
    return replace(state, volumes=volumes, disks={**state.disks, disk.key: replace(disk, partitions=parts)})


def without_volume(state: State, identity: str, *, with_partition: bool) -> State:
    old = state.volumes[identity]
    disk = state.disks[old.disk]
    left = tuple(one for one in disk.partitions if one.identifier != identity or not with_partition)
    volumes = {name: one for name, one in state.volumes.items() if name != identity}
    return replace(state, volumes=volumes, disks={**state.disks, disk.key: replace(disk, partitions=left)})


def with_stick(state: State) -> State:
    (made,) = states.state([(STICK, 1, {states.DEFAULT: program("stick")})]).volumes.values()
    return replace(state, disks={**state.disks, STICK.key: STICK}, volumes={**state.volumes, STICK_1: made})


HAPPENINGS: Mapping[str, Callable[[State], State]] = {
    "entry-missing": lambda state: variables(state, Boot0002=None, BootOrder=b"\0\0\1\0"),
    "entry-added": lambda state: variables(state, Boot0007=NEW_ENTRY, BootOrder=b"\0\0\1\0\2\0\7\0"),
    "entry-inactive": lambda state: variables(
        state, Boot0001=entry("Quarry", states.QUARRY_PART, states.QUARRY, b"QRY1", 0)
    ),
    "entry-retargeted": lambda state: variables(
        state, Boot0000=entry("Fernwick Linux", states.FERNWICK_PART, states.DEFAULT)
    ),
    "entry-renumbered": lambda state: variables(
        state, Boot0000=None, Boot00AB=FERNWICK_ENTRY, BootOrder=b"\xab\0\1\0\2\0"
    ),
    "entry-relabelled": lambda state: variables(
        state, Boot0001=entry("Quarry 12", states.QUARRY_PART, states.QUARRY, b"QRY1")
    ),
    "entry-data-changed": lambda state: variables(
        state, Boot0001=entry("Quarry", states.QUARRY_PART, states.QUARRY, b"QRY2")
    ),
    "order-changed": lambda state: variables(state, BootOrder=b"\1\0\0\0\2\0"),
    "timeout-changed": lambda state: variables(state, Timeout=None),
    "secure-boot-switched": lambda state: variables(state, SecureBoot=b"\1"),
    "keys-changed": lambda state: replace(
        state, variables={**state.variables, key("dbx", IMAGE_SECURITY): Variable(0x27, bytes(28))}
    ),
    "firmware-updated": lambda state: replace(state, facts={**state.facts, "firmware_version": "1.21"}),
    "volume-missing": lambda state: without_volume(state, HALL_2, with_partition=True),
    "volume-added": with_stick,
    "volume-reformatted": lambda state: with_volume(state, HALL_2, serial="0000-0001"),
    "partition-retyped": lambda state: with_volume(state, ATTIC_1, type=DATA_TYPE),
    "partition-renumbered": lambda state: with_volume(state, ATTIC_1, number=5),
    "partition-reidentified": lambda state: with_volume(state, HALL_2, identity=NEW_PART),
    "loader-missing": lambda state: with_file(state, HALL_2, TARN, None),
    "loader-added": lambda state: with_file(state, ATTIC_1, states.DEFAULT, program("quarry")),
    "loader-changed": lambda state: with_file(state, ATTIC_1, states.QUARRY, program("quarry 2")),
    "loader-emptied": lambda state: with_file(state, HALL_1, states.DEFAULT, states.text("", 0)),
    "file-missing": lambda state: with_file(state, HALL_1, KERNEL, None),
    "file-added": lambda state: with_file(state, HALL_1, "\\fernwick\\new.img", states.text("new")),
    "file-changed": lambda state: with_file(state, HALL_1, NOTES, states.text("other notes")),
}


def besides(state: State) -> State:
    """What else differs: a file, and a variable."""
    state = with_file(state, HALL_1, "\\another.img", states.text("another"))
    return replace(
        state, variables={**state.variables, key("db", IMAGE_SECURITY): Variable(0x27, b"other keys")}
    )


def adoption(now: State, before: State | None = None, *gaps: Gap, then: tuple[Gap, ...] = ()) -> Adoption:
    """``gaps`` are the snapshot's, ``then`` the baseline's."""
    before, snapshot = before or baseline(), Snapshot(CIRCUMSTANCE, now, gaps)
    return Adoption(before, then, snapshot, compare(before, then, snapshot).drift.changes)


def ids(case: Adoption, *names: str) -> list[str]:
    return [change.id for change in case.changes if change.change in names]


def left(case: Adoption, found: Adopted) -> tuple[Change, ...]:
    return compare(found.state, found.gaps, case.now).drift.changes
