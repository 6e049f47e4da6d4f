"""fstab names a boot volume that no longer exists."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.file_systems import FileSystems
from bootwatch.judge.finding import MOST, told
from bootwatch.judge.fstab import Fstab, Line
from bootwatch.judge.ground import Ground
from bootwatch.judge.pairs import plain
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding
from bootwatch.model.level import Level


def fstab_volume_missing(scene: Scene) -> Iterator[Finding]:
    """A start waits for a volume that fstab names, and ends in emergency mode where it doesn't come."""
    fstab = Fstab(scene.state, FileSystems(Ground(scene.state, scene.gaps)))
    running = scene.systems.running()
    missing = (line for line in fstab.lines if _matters(line) and fstab.is_missing(line))
    for line in [line for line in missing if not _is_doubtful(scene, line)][:MOST]:
        options = ",".join(sorted(line.options))
        yield told(
            "fstab-volume-missing",
            (line.source, line.target),
            f"the volume for {line.target}",
            f"{line.source} on {line.target}, {line.kind}, options {options}",
            system=running.name if running else None,
            level=None if line.is_waited_for else Level.WEAKENED,
        )


def _matters(line: Line) -> bool:
    """A volume for data that the system can do without may be a stick that isn't plugged in."""
    return line.is_waited_for or line.is_for_boot


def _is_unread(scene: Scene) -> bool:
    """Whether some volume could not be read as a whole, so that its own name isn't known."""
    known = {plain(identity) for identity in scene.state.volumes}
    return any(
        gap.kind == "volume" and gap.path is None and plain(gap.name) not in known for gap in scene.gaps
    )


def _is_doubtful(scene: Scene, line: Line) -> bool:
    """A label can be spelled in more than one way: where its volume seems to be mounted, nothing is said."""
    mounted = {folder.rstrip("/") for folder in scene.circumstance.mounts.values()}
    is_vague = line.is_label and (line.target in mounted or not line.name.isascii())
    return is_vague or (not line.is_table and _is_unread(scene))
