"""Which entry and which volume of now is which of the baseline."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from bootwatch.judge.entries import Entry
from bootwatch.model.disk import Disk
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

T = TypeVar("T")
Key = Callable[[T], Hashable]


@dataclass(frozen=True)
class Pairs(Generic[T]):
    """What was found again, what is missing, what is new."""

    same: tuple[tuple[T, T], ...]
    missing: tuple[T, ...]
    added: tuple[T, ...]


def pair(before: Iterable[T], now: Iterable[T], keys: Iterable[Key[T]]) -> Pairs[T]:
    """Pair by the first key, what is left by the next one, and so on; a key of None pairs with nothing."""
    left, right = list(before), dict(enumerate(now))
    same: list[tuple[T, T]] = []
    for key in keys:
        waiting: dict[Hashable, deque[int]] = {}
        for place, item in right.items():
            waiting.setdefault(key(item), deque()).append(place)
        rest = []
        for item in left:
            own = key(item)
            partners = waiting.get(own) if own is not None else None
            if partners:
                same.append((item, right.pop(partners.popleft())))
            else:
                rest.append(item)
        left = rest
    return Pairs(tuple(same), tuple(left), tuple(right.values()))


def pair_entries(before: Iterable[Entry], now: Iterable[Entry]) -> Pairs[Entry]:
    """By identity, as a multiset; then by target and file; then by number and label.

    Among entries of one identity those with the same number, then those with the same label, belong together.
    """
    return pair(
        before,
        now,
        (
            lambda entry: (entry.identity, entry.number),
            lambda entry: (entry.identity, entry.label),
            lambda entry: entry.identity,
            lambda entry: (entry.place, entry.number),
            lambda entry: (entry.place, entry.label),
            lambda entry: entry.place,
            lambda entry: (entry.number, entry.label),
        ),
    )


def plain(identity: str) -> str:
    """An identity without the address that tells clones apart."""
    return identity.partition("@")[0]


def pair_volumes(before: State, now: State) -> Pairs[Volume]:
    """By identity; then by disk, start and size; then by disk and FAT serial."""
    disks = SameDisks(before, now)
    return pair(
        before.volumes.values(),
        now.volumes.values(),
        (
            lambda volume: (volume.identity, disks.name(volume.disk)),
            lambda volume: volume.identity,
            lambda volume: (plain(volume.identity), disks.name(volume.disk)),
            lambda volume: plain(volume.identity),
            lambda volume: (disks.name(volume.disk), volume.start, volume.size),
            lambda volume: (disks.name(volume.disk), volume.serial) if volume.serial else None,
        ),
    )


class SameDisks:
    """Which disk of now is which of the baseline: by key, else by identifier and address, else by address and
    size. Clones have an identifier in common, so each disk is taken once."""

    def __init__(self, before: State, now: State) -> None:
        keys: tuple[Key[Disk], ...] = (
            lambda disk: disk.key,
            lambda disk: (plain(disk.key), disk.address),
            lambda disk: (disk.address, disk.size) if disk.address else None,
            lambda disk: plain(disk.key) if not disk.key.startswith("at:") else None,
        )
        pairs = pair(before.disks.values(), now.disks.values(), keys)
        self._names = {disk.key: twin.key for twin, disk in pairs.same}
        self.now_of = {twin.key: disk for twin, disk in pairs.same}

    def name(self, disk: str) -> str:
        """The baseline's key for a disk of either side; its own where the baseline doesn't hold it."""
        return self._names.get(disk, disk)
