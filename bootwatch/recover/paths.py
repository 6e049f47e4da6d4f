"""Paths on a boot volume that may be written: nothing that leaves the volume or that FAT can't hold."""

from __future__ import annotations

from bootwatch.problem import Problem

# Not allowed in long names (Microsoft FAT specification, 7.4), and the separators.
_FORBIDDEN = frozenset('"*/:<>?|\\')
_LONGEST = 255


def parts_of(path: str) -> list[str]:
    """The names of a path with backslashes, the leading one included. Raises Problem for a wrong one."""
    names = path.split("\\")
    if names[0] or len(names) < 2 or not all(map(_is_name, names[1:])):
        raise Problem(f"{path!r} is no path that may be written on a boot volume.")
    return names[1:]


def _is_name(name: str) -> bool:
    if not name or name.strip(" .") == "" or name[-1] in " ." or len(name) > _LONGEST:
        return False
    return not any(letter in _FORBIDDEN or ord(letter) < 0x20 for letter in name)
