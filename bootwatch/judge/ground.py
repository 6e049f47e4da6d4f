"""The machine as its firmware finds it: disks, partitions, FAT volumes, and what of them is unknown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from bootwatch.judge.architecture import Architecture, architecture_of
from bootwatch.judge.attachment import by_address, in_order
from bootwatch.judge.entries import read_option
from bootwatch.judge.pairs import plain
from bootwatch.judge.runnable import Judge, Verdict
from bootwatch.model.disk import Disk, Partition
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number
from bootwatch.model.volume import Volume

Place = tuple[str, str]  # a volume's identity and a folded path
_FV_FILE = (4, 6)
GIVEN_BACK = "its program gives the start back"


class Placed:
    """Something at a file on a volume, as far as both are known."""

    __slots__ = ()
    volume: str | None
    file: str | None

    @property
    def partition(self) -> str | None:
        """As /dev/disk/by-partuuid spells it; None for a file system without a table."""
        return partition_name(self.volume)

    @property
    def place(self) -> Place | None:
        return (self.volume, fold(self.file)) if self.volume and self.file else None


@dataclass(frozen=True, slots=True)
class Landing(Placed):
    """Where a load option ends. ``starts`` None: it can't be told, and ``likely`` is what to go by.

    ``chosen``: the firmware settles for this file (see Verdict). ``volume`` None with ``starts`` True: a
    program in the firmware itself.
    """

    starts: bool | None
    why: str
    volume: str | None = None
    file: str | None = None
    likely: bool = True
    chosen: bool = False


def partition_name(volume: str | None) -> str | None:
    """The PARTUUID in a volume's identity."""
    kind, _, name = plain(volume or "").partition(":")
    return name if kind in ("gpt", "mbr") else None


@dataclass(frozen=True)
class Ground:
    """One state with its gaps. ``failing`` are programs that are known to give the start back."""

    state: State
    gaps: tuple[Gap, ...] = ()
    failing: frozenset[Place] = field(default_factory=frozenset)

    @cached_property
    def architecture(self) -> Architecture:
        return architecture_of(self.state)

    @cached_property
    def _judge(self) -> Judge:
        return Judge(self.architecture)

    @cached_property
    def disks(self) -> list[Disk]:
        """Removable ones first, then by address."""
        return in_order(self.state.disks.values())

    @cached_property
    def partitions(self) -> dict[str, list[tuple[Disk, Partition]]]:
        """Every partition by its identifier; clones in the order in which firmware comes across them."""
        found: dict[str, list[tuple[Disk, Partition]]] = {}
        for disk in by_address(self.state.disks.values()):
            for part in disk.partitions:
                found.setdefault(part.identifier, []).append((disk, part))
        return found

    @cached_property
    def firmware_volumes(self) -> Counter[bytes]:
        """By how many entries each firmware volume is named that holds a program (UEFI 2.10 §10.3.5.7)."""
        found: Counter[bytes] = Counter()
        for name, variable in self.state.variables.items():
            option = read_option(variable.data) if entry_number(name) is not None else None
            nodes = option.path.nodes if option else ()
            for volume, file in pairwise(nodes):
                if (file.type, file.subtype) == _FV_FILE:
                    found[bytes(volume)] += 1
        return found

    @cached_property
    def has_unread_disks(self) -> bool:
        return any(gap.kind == "disk" for gap in self.gaps)

    @cached_property
    def _volumes(self) -> dict[tuple[str, int | None], Volume]:
        return {(volume.disk, volume.number): volume for volume in self.state.volumes.values()}

    @cached_property
    def _gaps_of_volumes(self) -> dict[str, list[Gap]]:
        found: dict[str, list[Gap]] = {}
        for gap in self.gaps:
            if gap.kind == "volume":
                found.setdefault(plain(gap.name), []).append(gap)
        return found

    def volume(self, disk: Disk, partition: Partition | None) -> Volume | None:
        """The FAT volume in a partition, or on a whole disk."""
        return self._volumes.get((disk.key, partition.number if partition else None))

    def volumes_of(self, disk: Disk) -> list[Volume]:
        """In the order of their partitions."""
        parts = [None, *sorted(disk.partitions, key=lambda part: part.number)]
        return [volume for part in parts if (volume := self.volume(disk, part))]

    def is_unread(self, identifier: str) -> bool:
        """Whether the volume in a partition exists, but could not be read as a whole."""
        return any(gap.path is None for gap in self._gaps_of_volumes.get(identifier, ()))

    def unread_of(self, disk: Disk) -> Iterator[str]:
        """Identifiers of partitions whose volume could not be read at all."""
        for part in disk.partitions:
            if self.is_unread(part.identifier) and not self.volume(disk, part):
                yield part.identifier

    def is_hidden(self, volume: Volume, path: str) -> bool:
        """Whether a file lies in a gap."""
        gaps = self._gaps_of_volumes.get(plain(volume.identity), ())
        return any(gap.covers_file(volume.identity, path) for gap in gaps)

    def land(self, volume: Volume, path: str) -> Landing:
        """What becomes of a start of the file at ``path``."""
        file = volume.file(path)
        spelled = file.path if file else path
        if (volume.identity, fold(path)) in self.failing:
            return Landing(False, GIVEN_BACK, volume.identity, spelled, chosen=True)
        verdict: Verdict = self._judge.file(volume, path, self.is_hidden(volume, path))
        return Landing(verdict.starts, verdict.why, volume.identity, spelled, chosen=verdict.chosen)

    def default_of(self, disk: Disk) -> Landing:
        """Where the firmware ends that was given only a disk: the first default file that it settles for."""
        landings = [self.default_on(volume) for volume in self.volumes_of(disk)]
        first = next((landing for landing in landings if landing.chosen or landing.starts is None), None)
        if first:
            return first
        unread = next(self.unread_of(disk), None)
        if unread:
            return Landing(None, "whether the default file is there could not be read", unread)
        return landings[0] if len(landings) == 1 else Landing(False, self._no_default("the disk"))

    def default_on(self, volume: Volume) -> Landing:
        """Where the firmware ends that was given only a partition."""
        return self.land(volume, self.architecture.default_file)

    def _no_default(self, where: str) -> str:
        return f"{where} has no {self.architecture.default_file} that the firmware runs"
