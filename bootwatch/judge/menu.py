"""A start menu as a loader's settings describe it: entries, and the files and file systems that they name."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a named file is to the entry."""

    KERNEL = "kernel"
    INITRD = "initrd"
    DEVICE_TREE = "device tree"
    PROGRAM = "program"
    SETTINGS = "file of settings"


class By(StrEnum):
    """How an entry says on which file system its files lie."""

    OWN = "own"  # it doesn't: the one that the settings lie on
    NAME = "name"  # by a UUID, serial number or label
    FILE = "file"  # by a file on it
    UNKNOWN = "unknown"  # by a number of the loader's own, or by what is worked out at start


@dataclass(frozen=True)
class Where:
    """On which file system. ``names`` are tried one after the other; labels begin with "label:"."""

    by: By = By.OWN
    names: tuple[str, ...] = ()


OWN, UNKNOWN = Where(), Where(By.UNKNOWN)


@dataclass(frozen=True)
class Target:
    """A named file. ``path`` has backslashes; without a leading one it is relative to the settings' folder,
    and counts only if it is there. ``is_optional``: the settings themselves first look whether it is there.
    """

    role: Role
    path: str
    where: Where = OWN
    is_optional: bool = False


@dataclass(frozen=True)
class Stanza:
    """One entry. ``roots`` are file systems that its kernel's options name as what can't be done without;
    ``places`` those that its files are looked for on."""

    title: str = ""
    targets: tuple[Target, ...] = ()
    roots: tuple[str, ...] = ()
    places: tuple[str, ...] = ()


@dataclass(frozen=True)
class Menu:
    """``default`` is what the settings say of the entry that starts by itself; None where they don't."""

    stanzas: tuple[Stanza, ...] = ()
    default: str | None = None
