"""A recovery kit in the place of this machine's baseline: which one, and where records then lie."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bootwatch.model.snapshot import State
from bootwatch.observe.disks import read_disks
from bootwatch.observe.facts import read_facts
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.recover.kit_find import Candidate, find
from bootwatch.recover.kit_names import safe_name

_RECORDS = "bootwatch-records"


def chosen(places: Places, kit: Path, *, insists: bool = False) -> Candidate:
    """The kit of the machine that is looked at: ``kit`` itself, or one below it. With
    ``insists`` one that is named itself is taken, though none of its disks is here. Raises Problem."""
    machine = Machine(places.root)
    facts, _, _ = read_facts(machine)
    disks = {disk.key: disk for disk, _ in read_disks(machine).found}
    return find(kit, State(disks=disks, facts=facts), insists=insists)


def with_kit(places: Places, found: Candidate, *, state: Path | None) -> Places:
    """The places for a command that goes by a kit: unless ``state`` is named, records lie beside it, since a
    live system forgets its own files."""
    kit = found.place.resolve()
    beside = kit.parent / _RECORDS / safe_name(kit.stem if kit.is_file() else kit.name)
    return replace(places, state=state or beside, from_kit=kit)
