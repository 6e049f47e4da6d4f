"""Entries of the Boot Loader Specification (UAPI.1): files below \\loader\\entries, unified kernel images.

An entry's file has a word and its value on each line; paths begin at the root of the file system that the
entry itself lies on. NAME+LEFT-DONE.conf counts attempts to start it: with none left it comes last.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cmp_to_key, lru_cache

from bootwatch.judge.menu import Role, Stanza, Target
from bootwatch.judge.settings_text import decode
from bootwatch.judge.settings_words import backslashed, roots_in, words_of
from bootwatch.judge.version_order import compare_versions

_COUNTED = re.compile(r"(.+?)\+(\d{1,9})(?:-\d{1,9})?(\.(?:conf|efi))", re.IGNORECASE | re.DOTALL)
_ROLES = {
    "linux": Role.KERNEL,
    "initrd": Role.INITRD,
    "efi": Role.PROGRAM,
    "uki": Role.PROGRAM,
    "devicetree": Role.DEVICE_TREE,
}
_STARTS = (Role.KERNEL, Role.PROGRAM)
_MOST_LINES = 1000
_MOST_TARGETS = 40


@dataclass(frozen=True)
class BootEntry:
    """One entry. ``id`` is its file's name without a counter; ``is_spent``: no attempts are left.

    ``is_image``: it is a unified kernel image, of which not all that sorts it was recorded.
    """

    id: str
    path: str
    stanza: Stanza
    sort_key: str = ""
    machine_id: str = ""
    version: str = ""
    architecture: str = ""
    is_spent: bool = False
    is_image: bool = False

    @property
    def stem(self) -> str:
        return self.id.rpartition(".")[0]


@lru_cache(maxsize=1024)
def read_entry(path: str, data: bytes) -> BootEntry | None:
    """An entry from its file; None for one that names nothing to start, which loaders leave out."""
    values: dict[str, str] = {}
    targets: list[Target] = []
    options: list[str] = []
    for line in decode(data).splitlines()[:_MOST_LINES]:
        word, value = [*line.split(None, 1), "", ""][:2]
        value = value.strip()
        if not value or word.startswith("#"):
            continue
        if word in _ROLES and len(targets) < _MOST_TARGETS:
            targets += [Target(_ROLES[word], backslashed(one)) for one in _paths(value)]
        elif word == "options":
            options += words_of(value)
        else:
            values[word] = value
    if not any(target.role in _STARTS for target in targets):
        return None
    name, is_spent = plain_id(path)
    return BootEntry(
        name,
        path,
        Stanza(values.get("title", name), tuple(targets), tuple(roots_in(options))),
        values.get("sort-key", ""),
        values.get("machine-id", ""),
        values.get("version", ""),
        values.get("architecture", ""),
        is_spent,
    )


def image_entry(path: str, title: str, sort_key: str) -> BootEntry:
    """A unified kernel image as an entry."""
    name, is_spent = plain_id(path)
    stanza = Stanza(title or name, (Target(Role.PROGRAM, path),))
    return BootEntry(name, path, stanza, sort_key, is_spent=is_spent, is_image=True)


def _paths(value: str) -> list[str]:
    """One path; where a loader puts variables behind it, as far as those."""
    return [value.partition(" $")[0].strip()] if not value.startswith("$") else []


def plain_id(path: str) -> tuple[str, bool]:
    """The name without a counter of attempts, and whether none is left."""
    name = path.rpartition("\\")[2]
    counted = _COUNTED.fullmatch(name)
    return (counted[1] + counted[3], int(counted[2]) == 0) if counted else (name, False)


def _compare(one: BootEntry, other: BootEntry) -> int:
    order = one.is_spent - other.is_spent or (not one.sort_key) - (not other.sort_key)
    if not order and one.sort_key:
        order = (
            _by_text(one.sort_key, other.sort_key)
            or _by_text(one.machine_id, other.machine_id)
            or -compare_versions(one.version, other.version)
        )
    return order or -compare_versions(one.stem, other.stem)


def _by_text(one: str, other: str) -> int:
    return (one > other) - (one < other)


# As the specification sorts entries for a menu, whose first one starts by itself.
order_key = cmp_to_key(_compare)
