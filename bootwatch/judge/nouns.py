"""Entries, volumes and disks of one machine as noun phrases that tell them apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.entries import Entry
from bootwatch.judge.entry_changes import describe as describe_entry
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.volume_changes import describe as describe_volume
from bootwatch.model.disk import Disk
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

_MOST_NAMED = 3


@dataclass(frozen=True)
class Nouns:
    """``now`` is the outlook on ``state``. Where two things would be called the same, their identifiers are
    added. The phrases may carry hostile characters."""

    state: State
    now: Outlook

    def entry(self, entry: Entry) -> str:
        """By label and number."""
        return f"{describe_entry(entry)} ({entry.name})" if entry.label else describe_entry(entry)

    def volume(self, volume: Volume) -> str:
        """By its label, else by the systems that start from it."""
        return self._volumes[volume.identity]

    def disk(self, disk: Disk) -> str:
        """By its model."""
        return self._disks[disk.key]

    @cached_property
    def _volumes(self) -> dict[str, str]:
        owners: dict[str, dict[str, None]] = {}
        for one in self.now.systems:
            for route in one.working():
                if route.volume and not route.through:
                    owners.setdefault(route.volume, {})[one.name] = None
        return _told_apart(
            {
                volume.identity: describe_volume(volume, _joined(list(owners.get(volume.identity, ()))))
                for volume in self.state.volumes.values()
            }
        )

    @cached_property
    def _disks(self) -> dict[str, str]:
        disks = self.state.disks.values()
        return _told_apart(
            {disk.key: f'the disk "{disk.model}"' if disk.model else f"the disk {disk.key}" for disk in disks}
        )


def _joined(names: list[str]) -> str | None:
    if len(names) > _MOST_NAMED:
        names = [*names[:_MOST_NAMED], "others"]
    return " and ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part) or None


def _told_apart(phrases: Mapping[str, str]) -> dict[str, str]:
    often = Counter(phrases.values())
    return {key: phrase if often[phrase] == 1 else f"{phrase} ({key})" for key, phrase in phrases.items()}
