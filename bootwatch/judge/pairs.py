"""Which entry and which volume of now is which of the baseline."""

from __future__ import annotations

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
    left, right = list(before), list(now)
    same: list[tuple[T, T]] = []
    for key in keys:
        waiting: dict[Hashable, list[T]] = {}
        for item in right:
            waiting.setdefault(key(item), []).append(item)
        rest = []
        for item in left:
            own = key(item)
            partners = waiting.get(own) if own is not None else None
            if partners:
                partner = partners.pop(0)
                same.append((item, partner))
                right.remove(partner)
            else:
                rest.append(item)
        left = rest
    return Pairs(tuple(same), tuple(left), tuple(right))


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
    disks = _Disks(before, now)
    return pair(
        before.volumes.values(),
        now.volumes.values(),
        (
            lambda volume: volume.identity,
            lambda volume: (plain(volume.identity), disks.of(volume)),
            lambda volume: plain(volume.identity),
            lambda volume: (disks.of(volume), volume.start, volume.size),
            lambda volume: (disks.of(volume), volume.serial) if volume.serial else None,
        ),
    )


class _Disks:
    """Names for disks that hold on both sides: by identifier, else by address and size."""

    def __init__(self, before: State, now: State) -> None:
        self._names: dict[str, str] = {}
        former = list(before.disks.values())
        for disk in now.disks.values():
            twin = next((one for one in former if _is_same(one, disk)), None)
            self._names[disk.key] = twin.key if twin else disk.key

    def of(self, volume: Volume) -> str:
        return plain(self._names.get(volume.disk, volume.disk))


def _is_same(one: Disk, other: Disk) -> bool:
    if one.key == other.key:
        return True
    return bool(one.address) and one.address == other.address and one.size == other.size
