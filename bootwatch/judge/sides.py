"""The two sides of one comparison, and what may be said about them."""

from __future__ import annotations

from functools import cached_property

from bootwatch.judge.entries import Entry, read_entries
from bootwatch.judge.glance import is_default_file
from bootwatch.judge.pairs import Pairs, SameDisks, pair_entries, pair_volumes, plain
from bootwatch.judge.systems import Naming, Systems
from bootwatch.model.disk import Partition
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import Circumstance, State
from bootwatch.model.variable import entry_number
from bootwatch.model.volume import Volume


class Sides:
    """The baseline's state and today's, each with its gaps. Nothing inside a gap of either is compared."""

    def __init__(
        self,
        before: State,
        now: State,
        before_gaps: tuple[Gap, ...],
        gaps: tuple[Gap, ...],
        names: Naming | None = None,
        running: Circumstance | None = None,
    ) -> None:
        self.before, self.now = before, now
        self.before_gaps, self.gaps = before_gaps, gaps
        self.names, self.running = names, running
        self.entries_before, self.entries_now = read_entries(before), read_entries(now)
        entries = (self.entries_before.values(), self.entries_now.values())
        self.systems = Systems.learn((before, now), names, running, entries)

    @cached_property
    def entries(self) -> Pairs[Entry]:
        return pair_entries(self.entries_before.values(), self.entries_now.values())

    @cached_property
    def volumes(self) -> Pairs[Volume]:
        return pair_volumes(self.before, self.now)

    @cached_property
    def _reached(self) -> set[tuple[str, str]]:
        entries = [*self.entries_before.values(), *self.entries_now.values()]
        return {entry.place for entry in entries if entry.file}

    def is_loader(self, volume: str, path: str) -> bool:
        """Whether an entry of either side reaches the file, or it is a default file."""
        folded = fold(path)
        return (plain(volume), folded) in self._reached or is_default_file(folded)

    def knows_variable(self, name: str) -> bool:
        """Whether a variable (by its file name) could be read on both sides."""
        return not any(gap.covers_variable(name) for gap in (*self.before_gaps, *self.gaps))

    @cached_property
    def unread_entries(self) -> set[str]:
        """Variables of entries that exist today and could not be read, unless the baseline knows them."""
        unread = {gap.name for gap in self.gaps if gap.kind == "variables"}
        return {
            name for name in unread if entry_number(name) is not None and name not in self.before.variables
        }

    def knows_entry_gone(self, variable: str) -> bool:
        """Whether an entry that isn't found can be said to be gone: it may have moved into an unread one."""
        return not self.unread_entries and not any(gap.covers_variable(variable) for gap in self.gaps)

    @cached_property
    def disks(self) -> SameDisks:
        return SameDisks(self.before, self.now)

    def partition_left(self, volume: Volume) -> Partition | None:
        """The partition of a volume of the baseline, if its disk still has it."""
        disk = self.disks.now_of.get(volume.disk)
        parts = disk.partitions if disk else ()
        return next((part for part in parts if part.identifier == plain(volume.identity)), None)

    def knows_volume_gone(self, volume: Volume) -> bool:
        """Whether a volume that isn't found can be said to be gone: it may lie on a disk that wasn't read."""
        if any(gap.kind == "volume" and plain(gap.name) == plain(volume.identity) for gap in self.gaps):
            return False
        return volume.disk in self.disks.now_of or not any(gap.kind == "disk" for gap in self.gaps)

    def knows_file(self, before: Volume, now: Volume, path: str) -> bool:
        """Whether a file could be read on both sides."""
        return not any(gap.covers_file(now.identity, path) for gap in self._volume_gaps) and not any(
            gap.covers_file(before.identity, path) for gap in self._former_volume_gaps
        )

    @cached_property
    def _volume_gaps(self) -> tuple[Gap, ...]:
        return tuple(gap for gap in self.gaps if gap.kind == "volume")

    @cached_property
    def _former_volume_gaps(self) -> tuple[Gap, ...]:
        return tuple(gap for gap in self.before_gaps if gap.kind == "volume")
