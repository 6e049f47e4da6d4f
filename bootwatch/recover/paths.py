"""Paths on a boot volume that may be written: nothing that leaves the volume or that FAT can't hold."""

from __future__ import annotations

import re

from bootwatch.problem import Problem

# Not allowed in long names (Microsoft FAT specification, 7.4), and the separators.
_FORBIDDEN = frozenset('"*/:<>?|\\')
_LONGEST = 255  # of UTF-16
# Devices in other systems' eyes, whatever follows behind a full stop: they couldn't open or delete them.
_DEVICES = re.compile(r"(CON|PRN|AUX|NUL|COM[0-9]|LPT[0-9])( *\..*)?", re.IGNORECASE)
# What a file is called while it is being written: one name for all, so that what was cut off is found again.
_UNFINISHED = "bootwatch.new"


def parts_of(path: str) -> list[str]:
    """The names of a path with backslashes, the leading one included. Raises Problem for a wrong one."""
    names = path.split("\\")
    if names[0] or len(names) < 2 or not all(map(_is_name, names[1:])):
        raise Problem(f"{path!r} is no path that may be written on a boot volume.")
    return names[1:]


def beside(path: str) -> str:
    """Where a file is written before it takes its place."""
    return "\\".join([*path.split("\\")[:-1], _UNFINISHED])


def _is_name(name: str) -> bool:
    if not name or name.strip(" .") == "" or name[-1] in " ." or _DEVICES.fullmatch(name):
        return False
    if any(0xD800 <= ord(letter) < 0xE000 for letter in name) or len(name.encode("utf-16-le")) > 2 * _LONGEST:
        return False
    return not any(letter in _FORBIDDEN or ord(letter) < 0x20 for letter in name)
