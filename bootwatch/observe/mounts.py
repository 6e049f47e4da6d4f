"""The mount table and fstab: which volumes are reached through a folder."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.observe.machine import Machine

FAT_NAMES = frozenset({"vfat", "msdos"})
_ESCAPE = re.compile(r"\\([0-7]{3})")


@dataclass(frozen=True)
class Mount:
    """One line of /proc/self/mountinfo (proc(5)); ``device`` is "major:minor".

    ``is_whole``: not only a folder of the file system is mounted there. ``number`` is the mount's own: with
    another one it is another mount, even where all else is the same.
    """

    device: str
    folder: str
    kind: str
    source: str
    is_whole: bool = True
    number: str = field(default="", compare=False)


@dataclass(frozen=True)
class FstabLine:
    """One line of fstab(5), as far as boot volumes go."""

    source: str
    target: str
    kind: str
    options: str

    def to_json(self) -> dict[str, str]:
        return {"source": self.source, "target": self.target, "type": self.kind, "options": self.options}


def read_mounts(machine: Machine) -> list[Mount]:
    """The mounts that can be reached, none that a later one covers. Raises OSError."""
    try:
        table = machine.read("proc/self/mountinfo", 4 << 20).decode("utf-8", "surrogateescape")
    except FileNotFoundError:
        return []
    mounts = [mount for mount in map(_parse_mount, table.splitlines()) if mount]
    return [mount for place, mount in enumerate(mounts) if not _is_covered(mount, mounts[place + 1 :])]


def _is_covered(mount: Mount, later: list[Mount]) -> bool:
    return any(is_below(mount.folder, other.folder) for other in later)


def is_below(folder: str, top: str) -> bool:
    """Whether a folder is ``top`` or lies below it."""
    return folder == top or top == "/" or folder.startswith(top.rstrip("/") + "/")


def _parse_mount(line: str) -> Mount | None:
    before, separator, after = line.partition(" - ")
    left, right = before.split(" "), after.split(" ")
    if not separator or len(left) < 6 or len(right) < 2:
        return None
    folder = _unescape(left[4])
    if "\0" in folder:  # no kernel writes it, and no call takes it
        return None
    return Mount(left[2], folder, right[0], _unescape(right[1]), left[3] == "/", left[0])


def read_fstab(machine: Machine) -> list[FstabLine]:
    """fstab's lines that can mean a boot volume. Raises OSError."""
    try:
        table = machine.read("etc/fstab").decode("utf-8", "surrogateescape")
    except FileNotFoundError:
        return []
    lines = [_parse_fstab(line) for line in table.splitlines()]
    return [line for line in lines if line and (line.kind in FAT_NAMES or is_boot_folder(line.target))]


def _parse_fstab(line: str) -> FstabLine | None:
    fields = line.split()
    if len(fields) < 3 or fields[0].startswith("#"):
        return None
    source, target, kind = map(_unescape, fields[:3])
    return FstabLine(source.replace('"', ""), target, kind, fields[3] if len(fields) > 3 else "defaults")


def _unescape(text: str) -> str:
    """Undo the octal escapes that stand for blanks, tabs, line ends and backslashes."""
    return _ESCAPE.sub(lambda match: chr(int(match[1], 8)), text)
