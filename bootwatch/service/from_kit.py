"""A recovery kit in the place of this machine's baseline: which one, and where records then lie."""

from __future__ import annotations

import os
import stat
from dataclasses import replace
from pathlib import Path

from bootwatch.model.snapshot import State
from bootwatch.observe.disks import read_disks
from bootwatch.observe.facts import read_facts
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.recover.kit import opened
from bootwatch.recover.kit_contents import SETTINGS
from bootwatch.recover.kit_find import Candidate, find
from bootwatch.recover.kit_names import safe_name

_RECORDS = "bootwatch-records"
_ELSEWHERE = "var/lib/bootwatch-records"


def chosen(places: Places, kit: Path, *, insists: bool = False) -> Candidate:
    """The kit of the machine that is looked at: ``kit`` itself, or one below it. With
    ``insists`` one that is named itself is taken, though none of its disks is here. Raises Problem."""
    machine = Machine(places.root)
    facts, _, _ = read_facts(machine)
    disks = {disk.key: disk for disk, _ in read_disks(machine).found}
    return find(kit, State(disks=disks, facts=facts), insists=insists)


def with_kit(places: Places, found: Candidate, *, state: Path | None, settings: Path | None) -> Places:
    """The places for a command that goes by a kit, and by its settings unless ``settings`` is named; Problem
    for one that is damaged.

    Unless ``state`` is named, records lie beside it, since a live system forgets its own files; elsewhere
    where others could change them there, or nobody can.
    """
    kit = found.place.resolve()
    own = safe_name(kit.stem if kit.is_file() else kit.name)
    is_carried = opened(kit).settings is not None  # a bad one is refused before anything is looked at
    config = settings or (kit / SETTINGS if is_carried else places.config)
    beside, elsewhere = kit.parent / _RECORDS / own, places.root / _ELSEWHERE / own
    usual = beside if _is_own(kit.parent) else elsewhere
    return replace(places, state=state or usual, config=config, from_kit=kit)


def _is_own(folder: Path) -> bool:
    """Whether what the caller makes there is the caller's alone: a stick may be mounted for somebody else,
    or for reading only."""
    about = folder.stat()
    is_writable = os.access(folder, os.W_OK) and not os.statvfs(folder).f_flag & os.ST_RDONLY
    return is_writable and about.st_uid == os.geteuid() and not about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
