"""Boot volumes of the running system that should be one and the same, and are not."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.boot_roles import Role, Roles
from bootwatch.judge.finding import told
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding


def volumes_disagree(scene: Scene) -> Iterator[Finding]:
    """Updates go to one volume, and the firmware starts the other. Mirrors in step are one volume here."""
    home = scene.systems.running()
    if home is None or not home.is_watched:
        return
    roles = Roles(scene, home)
    clash = next(_clashes(roles), None)
    if clash:
        one, other = clash
        what = f"the boot volume that {one.phrase} and the one that {other.phrase}"
        lines = [f"{role.short}: {role.volume.identity}" for role in roles.all(clash)]
        yield told("volumes-disagree", (home.key,), what, "; ".join(lines), system=home.name)


Clash = tuple[Role, Role]


def _clashes(roles: Roles) -> Iterator[Clash]:
    yield from _fstab_and_mount(roles)
    yield from _start_and_update(roles)
    yield from _start_and_newest(roles)
    yield from _entry_and_start(roles)


def _fstab_and_mount(roles: Roles) -> Iterator[Clash]:
    """Another volume is mounted than the one that would be after the next start."""
    for mounted in roles.mounted:
        named = [role for role in roles.fstab if role.folder == mounted.folder]
        if named and all(roles.differ(role, mounted) for role in named):
            yield named[0], mounted


def _start_and_update(roles: Roles) -> Iterator[Clash]:
    """The volume that the system is started from is none that it mounts; where it would update its loader,
    there lies another one."""
    start = roles.start
    if start and not any(roles.is_same(start, role) for role in (*roles.mounted, *roles.fstab)):
        for role in roles.updated:
            if roles.differ(start, role):
                yield start, role


def _start_and_newest(roles: Roles) -> Iterator[Clash]:
    start = roles.start
    newest = roles.newer_than(start) if start else None
    if start and newest:
        yield start, newest


def _entry_and_start(roles: Roles) -> Iterator[Clash]:
    """It was not started from any volume that its entries name."""
    used, entries = roles.used, roles.entries
    if used and entries and all(roles.differ(used, entry) for entry in entries):
        yield entries[0], used
