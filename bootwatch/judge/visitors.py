"""Disks that come and go: sticks, docks, drives that are plugged in for an hour."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.judge.system import System
from bootwatch.judge.visiting import is_automatic, is_visiting
from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.model.past import NO_PAST, Past


class Visitors:
    """What of two states belongs to disks that come and go. What the running system is on never does."""

    def __init__(self, sides: Sides, past: Past = NO_PAST) -> None:
        self._sides, self._past = sides, past

    def volume(self, identity: str) -> bool:
        """Whether a volume comes and goes: by its disk; or since history shows it, unless somebody made an
        entry for a file on it. A disk that fails comes and goes as well."""
        own = plain(identity)
        is_restless = own in self._past.restless and own not in self._named
        return own not in self._home and (own in self._volumes or is_restless)

    def idle(self, identity: str) -> bool:
        """Whether nothing starts from a volume: no program lies on it, nobody made an entry for it, and no
        system mounts it. That such a one comes or goes takes nothing away."""
        own, sides = plain(identity), self._sides
        states = sides.before, sides.now
        held = [one for state in states for one in state.volumes.values() if plain(one.identity) == own]
        entries = (*sides.entries_before.values(), *sides.entries_now.values())
        is_used = sides.systems.of_volume(identity) is not None or any(
            entry.volume == own for entry in entries if not is_automatic(entry)
        )
        return (
            bool(held)
            and not is_used
            and not any(file.program for one in held for file in one.files.values())
        )

    def system(self, system: System) -> bool:
        """Whether all of a system does."""
        return bool(system.volumes) and all(map(self.volume, system.volumes))

    def entry(self, document: Any) -> bool:
        """Whether an entry, as a change describes it, is one that the firmware makes for a device by itself,
        or leads to what comes and goes."""
        if not isinstance(document, dict) or "entry" not in document:
            return False
        is_made = bool(document.get("firmware_made")) or not document.get("file")
        return is_made or (document.get("volume") is not None and self.volume(str(document["volume"])))

    @cached_property
    def _home(self) -> frozenset[str]:
        running, now = self._sides.systems.running(), self._sides.running
        mounts = now.mounts if now else {}
        mounted = {plain(volume) for volume, folder in mounts.items() if is_boot_folder(folder)}
        return frozenset({*mounted, *map(plain, running.volumes if running else ())})

    @cached_property
    def _named(self) -> frozenset[str]:
        """The volumes to which entries with a file lead, of either side."""
        sides = self._sides
        entries = (*sides.entries_before.values(), *sides.entries_now.values())
        return frozenset(one.volume for one in entries if one.volume and not is_automatic(one))

    @cached_property
    def _volumes(self) -> frozenset[str]:
        sides = self._sides
        found: dict[str, bool] = {}
        for state, entries in (
            (sides.before, sides.entries_before.values()),
            (sides.now, sides.entries_now.values()),
        ):
            for disk in state.disks.values():
                on_disk = [one.identity for one in state.volumes.values() if one.disk == disk.key]
                visits = is_visiting(disk, state, entries)
                for identity in (*on_disk, *(part.identifier for part in disk.partitions)):
                    # A clone of an internal disk may be plugged in: then it isn't said of either.
                    found[plain(identity)] = found.get(plain(identity), True) and visits
        return frozenset(identity for identity, visits in found.items() if visits)
