"""What is watched: the firmware's variables, the mounted boot volumes, fstab, the disks' names.

Which mounts are boot volumes is told by what is at hand, without reading a disk: their place, fstab, an \\EFI
folder, and the identities that the last reading left. Nothing here touches an automount that isn't mounted.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice

from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import FAT_NAMES, Mount, is_below, read_fstab, read_mounts

VOLUMES = "volumes"
"""The reader's list of boot volumes in /run/bootwatch, one identity a line."""
MOUNT_TABLE = "proc/self/mountinfo"
_VARIABLES = "sys/firmware/efi/efivars"
_DISKS = "dev/disk"
_BY_PART = "by-partuuid"
_FSTAB = "etc/fstab"
_RUN = "run/bootwatch"
_TOP = "efi"
_LIST_LIMIT = 1 << 16
_TABLE_LIMIT = 4 << 20
# In so many parts is a volume watched that has others mounted among its folders: each takes threads.
_MOST_PARTS = 20
_MOST_LINKS = 8
# One of these is in each line of the mount table that a survey could make something of.
_SIGNS = (b" - vfat ", b" - msdos ", b" - efivarfs ", b" /boot", b" /efi")


@dataclass(frozen=True)
class Target:
    """One folder to be watched: with all folders ``below`` it; ``names``: for what happens to these alone,
    None for everything. ``asks``: whether that may be a change of the machine, not only of what is watched.
    """

    path: str
    below: bool = False
    names: frozenset[str] | None = None
    asks: bool = True

    def holds(self, path: str) -> bool:
        """Whether what happened to ``path`` is of interest."""
        return self.names is None or path == self.path or os.path.basename(path) in self.names


@dataclass(frozen=True)
class Survey:
    """What is to be watched just now.

    ``mounts`` are those that matter, as (device, folder, type, the mount's number): when they change the
    machine is read again. A volume that was unmounted and is back already has another number; whatever
    watched it is gone.
    ``volumes`` are the folders of mounted boot volumes. ``trouble`` says what couldn't be looked at.
    """

    targets: tuple[Target, ...] = ()
    mounts: frozenset[tuple[str, str, str, str]] = frozenset()
    volumes: tuple[str, ...] = ()
    has_variables: bool = False
    trouble: str = ""


def signs(machine: Machine) -> tuple[bytes, ...]:
    """What a survey goes by, to tell cheaply whether another one is needed: containers mount a lot."""
    try:
        table = machine.read(MOUNT_TABLE, _TABLE_LIMIT).splitlines()
    except OSError:
        table = []
    listed = (machine.text_or_none(f"{_RUN}/{VOLUMES}") or "").encode("utf-8", "replace")
    return (listed, *(line for line in table if any(sign in line for sign in _SIGNS)))


def survey(machine: Machine) -> Survey:
    """Look at the mount table, fstab and the reader's list."""
    try:
        mounts, troubles = read_mounts(machine), []
    except OSError as error:
        mounts, troubles = [], [f"the mount table ({error.strerror})"]
    volumes = _boot_volumes(machine, mounts)
    points = frozenset(mount.folder for mount in mounts)
    has_variables = machine.is_folder(_VARIABLES)
    targets = list(_fixed(machine, has_variables))
    for mount in volumes:
        parts = list(islice(_whole(machine, mount.folder, points), _MOST_PARTS + 1))
        if len(parts) > _MOST_PARTS:
            parts = parts[:1]
            troubles.append(f"{mount.folder} (more than {_MOST_PARTS} folders beside other mounts)")
        targets += parts
    matter = volumes + [mount for mount in mounts if _matters(mount)]
    return Survey(
        targets=tuple(dict.fromkeys(targets)),
        mounts=frozenset((mount.device, mount.folder, mount.kind, mount.number) for mount in matter),
        volumes=tuple(mount.folder for mount in volumes),
        has_variables=has_variables,
        trouble="; ".join(troubles),
    )


def _matters(mount: Mount) -> bool:
    return mount.kind == "efivarfs" or (mount.kind != "autofs" and is_boot_folder(mount.folder))


def _boot_volumes(machine: Machine, mounts: list[Mount]) -> list[Mount]:
    """One mount of each: a change is seen through whichever mount it is made."""
    targets, nodes = _fstab_targets(machine), _known_nodes(machine)
    found: dict[str, Mount] = {}
    for mount in mounts:
        if mount.kind not in FAT_NAMES or (mount.device in found and found[mount.device].is_whole):
            continue
        if (
            is_boot_folder(mount.folder)
            or mount.folder in targets
            or _node(machine, mount) in nodes
            or _has_top(machine, mount.folder)
        ):
            found[mount.device] = mount
    return list(found.values())


def _fstab_targets(machine: Machine) -> set[str]:
    try:
        return {line.target.rstrip("/") for line in read_fstab(machine)}
    except OSError:
        return set()


def _known_nodes(machine: Machine) -> set[str]:
    """The kernel's names of the boot volumes that the last reading found."""
    nodes = set()
    for line in (machine.text_or_none(f"{_RUN}/{VOLUMES}") or "")[:_LIST_LIMIT].splitlines():
        kind, _, rest = line.partition("@")[0].partition(":")
        folder = "by-uuid" if kind == "fat" else _BY_PART
        with suppress(OSError, ValueError):
            nodes.add(os.path.basename(machine.link(f"{_DISKS}/{folder}/{rest}")))
    return nodes


def _node(machine: Machine, mount: Mount) -> str:
    try:
        return os.path.basename(machine.link(f"sys/dev/block/{mount.device}"))
    except OSError:
        return os.path.basename(mount.source)


def _has_top(machine: Machine, folder: str) -> bool:
    try:
        return any(name.lower() == _TOP for name in machine.names(folder))
    except OSError:
        return False


def _whole(machine: Machine, folder: str, points: frozenset[str]) -> Iterator[Target]:
    """A volume's folders, without what else is mounted among them: an automount would be set off."""
    try:
        place = machine.locate(folder)
        if not any(point != folder and is_below(point, folder) for point in points):
            yield Target(place, below=True)
            return
        yield Target(place)
        children = [f"{folder.rstrip('/')}/{name}" for name in machine.names(folder)]
    except OSError:
        return
    for child in children:
        if child not in points and machine.is_folder(child):
            yield from _whole(machine, child, points)


def _fixed(machine: Machine, has_variables: bool) -> Iterator[Target]:
    wanted: list[tuple[str, frozenset[str] | None, bool]] = []
    wanted += [(_VARIABLES, None, True)] if has_variables else []
    wanted += [(folder, names, True) for folder, names in _fstab_names(machine).items()]
    wanted += [(_DISKS, frozenset({_BY_PART}), True), (f"{_DISKS}/{_BY_PART}", None, True)]
    wanted += [(_RUN, frozenset({VOLUMES}), False)]
    if machine.root != "/":
        # poll(2) tells of the real one; a folder that stands for a machine holds a plain file.
        folder, _, name = MOUNT_TABLE.rpartition("/")
        wanted += [(folder, frozenset({name}), False)]
    for path, names, asks in wanted:
        with suppress(OSError):  # a link that leads out of the root, or in circles
            place = machine.locate(path)
            if os.path.isdir(place):
                yield Target(place, names=names, asks=asks)


def _fstab_names(machine: Machine) -> dict[str, frozenset[str]]:
    """Which names in which folder stand for fstab: a link may change as well as what it leads to."""
    names: dict[str, frozenset[str]] = {}
    path = _FSTAB
    for _ in range(_MOST_LINKS):
        folder, _, name = path.rpartition("/")
        names[folder] = names.get(folder, frozenset()) | {name}
        try:
            path = os.path.normpath(os.path.join("/", folder, machine.link(path))).lstrip("/")
        except OSError:
            break
    return names
