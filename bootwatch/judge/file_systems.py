"""Which file system of the machine a UUID, serial number or label names, and whether one may be hidden."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.ground import Ground, partition_name
from bootwatch.judge.settings_words import LABEL, comparable
from bootwatch.model.disk import Content, Partition
from bootwatch.model.volume import Volume

_LAYERS = {
    "crypto_LUKS": "an encrypted partition",
    "crypto_FVE": "an encrypted partition",
    "LVM2_member": "a partition of a volume group",
    "linux_raid_member": "a member of a RAID",
    "unknown": "a partition whose content is not recognized",
    "unreadable": "a partition that could not be read",
}
_UNRECORDED = "a partition of which it was not recorded what it holds"
# Where no file system is expected: a GPT's room for old boot code, room that a system keeps for itself.
_NO_FILE_SYSTEM = frozenset(
    {
        "21686148-6449-6e6f-744e-656564454649",
        "e3c9e316-0b5c-4db8-817d-f92df00215ae",
        *("mbr:05", "mbr:0f", "mbr:85"),
    }
)


@dataclass(frozen=True)
class Held:
    """One partition, or a whole disk without a table. ``volume`` None: its files were not read."""

    partition: Partition | None
    content: Content | None
    volume: Volume | None

    @property
    def names(self) -> Iterator[str]:
        """Everything that tools call it by."""
        if self.partition:
            yield comparable(self.partition.identifier.partition(":")[2])
            yield LABEL + self.partition.name.casefold()
        if self.volume:
            yield comparable(self.volume.serial or "")
            yield comparable(partition_name(self.volume.identity) or "")
            yield LABEL + self.volume.label.casefold()
        if self.content:
            yield comparable(self.content.uuid)
            yield LABEL + self.content.label.casefold()

    @property
    def kind(self) -> str:
        """What it holds, "" where that was not recorded."""
        return self.content.kind if self.content else ""

    @property
    def layer(self) -> str | None:
        """What may hide file systems in it, as a noun; None where nothing does."""
        if self.volume or (self.partition and self.partition.type in _NO_FILE_SYSTEM):
            return None
        return _LAYERS.get(self.content.kind) if self.content else _UNRECORDED


class FileSystems:
    """Those of one snapshot."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def named(self, name: str) -> list[Held]:
        """What goes by a name; more than one where disks were copied."""
        wanted = LABEL + name.removeprefix(LABEL).casefold() if name.startswith(LABEL) else comparable(name)
        return self._by_name.get(wanted, [])

    @cached_property
    def doubt(self) -> str:
        """Where a file system may be that no name leads to; "" where there is no such place."""
        return self.doubt_but(frozenset())

    def doubt_but(self, transparent: frozenset[str]) -> str:
        """The same, where partitions that hold something of a ``transparent`` kind can't hide it."""
        if self._ground.has_unread_disks:
            return "a disk that could not be read"
        layers = (held for held in self._all if held.layer)
        return next(
            (held.layer or "" for held in layers if not held.partition or held.kind not in transparent), ""
        )

    @cached_property
    def _all(self) -> list[Held]:
        ground = self._ground
        found = []
        for disk in ground.disks:
            if disk.table == "none":
                found.append(Held(None, disk.content, ground.volume(disk, None)))
            found += [Held(part, part.content, ground.volume(disk, part)) for part in disk.partitions]
        return found

    @cached_property
    def _by_name(self) -> dict[str, list[Held]]:
        found: dict[str, list[Held]] = {}
        for held in self._all:
            for name in dict.fromkeys(held.names):
                if name not in ("", LABEL):
                    found.setdefault(name, []).append(held)
        return found
