"""A finding as it is told: id, level, and what several findings ask of a volume."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.drafts import stable_id
from bootwatch.judge.entries import Entry, read_entries
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.judge.visiting import is_visiting
from bootwatch.model.change import Finding
from bootwatch.model.level import Level
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

# By consequence. The worst that a name can mean; the judge of a single case may say less, or more.
LEVELS = {
    "volume-not-esp": Level.WEAKENED,
    "same-identifiers": Level.WEAKENED,
    "volume-nearly-full": Level.CHANGED,
    "loaders-share-volume": Level.CHANGED,
    "fstab-volume-missing": Level.STRANDED,
    "volumes-disagree": Level.WEAKENED,
    "removable-first": Level.CHANGED,
    "next-left-behind": Level.CHANGED,
    "order-without-variable": Level.CHANGED,
    "lower-case-entry": Level.CHANGED,
    "store-nearly-full": Level.CHANGED,
    "capsule-waiting": Level.WEAKENED,
    "file-damaged": Level.WEAKENED,
    "menu-not-shown": Level.WEAKENED,
    "starts-unwatched": Level.CHANGED,
    "restore-not-kept": Level.WEAKENED,
    "unseen": Level.CHANGED,
}
# How many of one kind are told apart: a hostile store or volume could hold thousands.
MOST = 16


def told(
    name: str,
    identity: tuple[str, ...],
    what: str,
    where: str,
    *,
    system: str | None = None,
    level: Level | None = None,
) -> Finding:
    """The finding; its level is that of its name unless ``level`` says another."""
    return Finding(stable_id(name, identity), name, level or LEVELS[name], system, what, where)


def is_removable(scene: Scene, volume: Volume) -> bool:
    """Whether a volume lies on a removable disk."""
    disk = scene.state.disks.get(volume.disk)
    return bool(disk and disk.removable)


def comes_and_goes(scene: Scene, volume: Volume) -> bool:
    """Whether a volume lies on a disk that comes and goes, or was seen to come and go itself. What the
    running system starts from never does."""
    running, identity = scene.systems.running(), plain(volume.identity)
    if running and identity in map(plain, running.volumes):
        return False
    disk = scene.state.disks.get(volume.disk)
    is_visitor = disk is not None and is_visiting(disk, scene.state, _entries(scene.state))
    return is_visitor or identity in scene.past.restless


def _entries(state: State) -> Iterator[Entry]:
    """Read only where they are asked for: there can be 65,536."""
    yield from read_entries(state).values()


def amount(count: int) -> str:
    """Bytes as people read them."""
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count / 1e3:.1f} kB"
