"""The baseline with its volumes where they are today: by another number or identifier, or at another place.

Both who plans and who writes work this out, each from the partition tables that it read itself: so nothing
need be believed of where a volume went. What can't be told from the tables alone, a person has to say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from bootwatch.formats.device_path_text_media import HARD_DRIVE
from bootwatch.judge.entries import parse_entry, read_entries, read_option, variable_of
from bootwatch.judge.made_option import hard_drive, with_path
from bootwatch.judge.pairs import plain
from bootwatch.model.disk import Disk, Partition
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

Disks = Mapping[str, Disk]


@dataclass(frozen=True)
class Move:
    """A volume that is somewhere else than in the baseline: its identity then and now, and how so."""

    was: str
    now: str
    how: str


@dataclass(frozen=True)
class Relocated:
    """``state`` is the baseline's with what ``moves`` tells of. ``lost`` are volumes of which nothing in
    today's partition tables tells where they are."""

    state: State
    moves: tuple[Move, ...] = ()
    lost: tuple[Volume, ...] = ()


def relocated(before: State, today: Disks, mapped: Mapping[str, str] | None = None) -> Relocated:
    """``before`` as it would be had its volumes been where they are ``today``. ``mapped`` gives identities of
    today by those of the baseline, as a person said."""
    return _Relocator(before, today, mapped or {}).relocated()


@dataclass(frozen=True)
class _Twin:
    """The partition of today that a volume of the baseline lies in."""

    disk: Disk
    part: Partition
    is_named: bool = False


@dataclass(frozen=True)
class _Relocator:
    before: State
    today: Disks
    mapped: Mapping[str, str]

    def relocated(self) -> Relocated:
        moves, lost, state = [], [], self.before
        for volume in self.before.volumes.values():
            former = self._former(volume)
            twin = self._twin(volume, former)
            if former is None:
                continue
            if twin is None:
                lost.append(volume)
                continue
            how = self._how(volume, former, twin)
            if how:
                moves.append(Move(volume.identity, twin.part.identifier, how))
                state = _moved(state, volume, former, twin)
        return Relocated(state, tuple(moves), tuple(lost))

    def _former(self, volume: Volume) -> Partition | None:
        disk = self.before.disks.get(volume.disk)
        return next((one for one in disk.partitions if one.number == volume.number), None) if disk else None

    def _twin(self, volume: Volume, former: Partition | None) -> _Twin | None:
        """By what a person said; by identifier, if that is the only one; on its own disk at the same place,
        if what is there was unheard of."""
        named = self.mapped.get(volume.identity) or self.mapped.get(plain(volume.identity))
        if named:
            found = self._parts.get(named, [])
            is_new = len(found) == 1 and named not in self._known and self._is_told_once(named)
            return replace(found[0], is_named=True) if is_new else None
        own = self._parts.get(plain(volume.identity), [])
        if own:
            return own[0] if len(own) == 1 else None
        disk = self.today.get(volume.disk)
        for part in disk.partitions if disk and former else ():
            if former and (part.first_lba, part.last_lba) == (former.first_lba, former.last_lba):
                return _Twin(disk, part) if disk and part.identifier not in self._known else None
        return None

    def _is_told_once(self, named: str) -> bool:
        return list(self.mapped.values()).count(named) == 1

    @cached_property
    def _parts(self) -> dict[str, list[_Twin]]:
        found: dict[str, list[_Twin]] = {}
        for disk in self.today.values():
            for part in disk.partitions:
                found.setdefault(part.identifier, []).append(_Twin(disk, part))
        return found

    @cached_property
    def _known(self) -> set[str]:
        return {part.identifier for disk in self.before.disks.values() for part in disk.partitions}

    def _how(self, volume: Volume, former: Partition, twin: _Twin) -> str:
        part = twin.part
        if twin.is_named:
            return "as was said"
        if part.identifier != former.identifier:
            return "the partition has another identifier"
        if part.number != former.number:
            return f"the partition has the number {part.number} now, and had {former.number}"
        if (part.first_lba, part.last_lba) != (former.first_lba, former.last_lba):
            return "the partition begins or ends elsewhere"
        address = self.before.disks[volume.disk].address
        if twin.disk.address != address and any(_names_a_place(one) for one in self._options(volume)):
            return "its disk is attached elsewhere"
        return ""

    def _options(self, volume: Volume) -> Iterator[bytes]:
        for number, entry in read_entries(self.before).items():
            if entry.target == plain(volume.identity):
                yield self.before.variables[variable_of(number)].data


def _names_a_place(option: bytes) -> bool:
    """Whether it says where its disk is attached: there is more before the hard drive node."""
    read = read_option(option)
    first = read.path.nodes[0] if read and read.path.nodes else None
    return first is not None and (first.type, first.subtype) != HARD_DRIVE


def _moved(state: State, volume: Volume, former: Partition, twin: _Twin) -> State:
    """With one volume, its partition and the entries that lead there where they are today."""
    part = replace(twin.part, type=former.type, content=former.content)
    is_elsewhere = twin.disk.address != state.disks[volume.disk].address
    here = _placed(volume, twin)
    volumes = {name: one for name, one in state.volumes.items() if name != volume.identity}
    disks = _with_partition(state, volume.disk, former, twin.disk, part)
    variables = dict(state.variables)
    for number, entry in read_entries(state).items():
        name = variable_of(number)
        if entry.target == plain(volume.identity):
            data = moved_option(variables[name].data, part, short=is_elsewhere)
            variables[name] = replace(variables[name], data=data)
    return replace(state, volumes={**volumes, here.identity: here}, disks=disks, variables=variables)


def _placed(volume: Volume, twin: _Twin) -> Volume:
    part, size = twin.part, twin.disk.block_size
    return replace(
        volume,
        identity=part.identifier,
        disk=twin.disk.key,
        number=part.number,
        start=part.first_lba * size,
        size=(part.last_lba - part.first_lba + 1) * size,
    )


def _with_partition(
    state: State, old: str, former: Partition, disk: Disk, part: Partition
) -> dict[str, Disk]:
    """The baseline's disks with the partition that it is today, in the place of the former."""
    disks = dict(state.disks)
    disks[old] = replace(disks[old], partitions=tuple(one for one in disks[old].partitions if one != former))
    held = disks.get(disk.key, replace(disk, partitions=()))
    others = tuple(one for one in held.partitions if part.number != one.number)
    disks[disk.key] = replace(held, address=disk.address, partitions=(*others, part))
    return disks


def moved_option(option: bytes, part: Partition, *, short: bool) -> bytes:
    """A load option whose hard drive node names ``part``, with all else byte for byte as it was; ``short``:
    without what stands before that node, the way to a disk (UEFI 2.10 §3.1.2, short-form paths)."""
    read, node = read_option(option), hard_drive(part)
    if read is None or node is None or parse_entry(0, option) is None:
        return option
    at = 0
    for one in read.path.nodes:
        raw = bytes(one)
        if (one.type, one.subtype) == HARD_DRIVE:
            path = bytes(read.path)
            return with_path(option, path[at if short else 0 : at] + node + path[at + len(raw) :])
        at += len(raw)
    return option
