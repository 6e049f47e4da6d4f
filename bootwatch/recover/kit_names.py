"""Names in a recovery kit: they must fit on a FAT file system and never lead out of the kit."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

from bootwatch.model.path import fold

_UNSAFE = re.compile(r"[^A-Za-z0-9._+{}-]")
# What some systems take for devices, whatever extension follows.
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)
_FORBIDDEN = frozenset('"*:<>?|\\')
_LONGEST_NAME, _LONGEST_PATH = 200, 600
_DEEPEST = 24


def safe_name(text: str) -> str:
    """``text`` as the name of one file or folder: what FAT can't hold becomes a hyphen.

    >>> safe_name("gpt:6d0a41be-8c93"), safe_name("CON"), safe_name("..")
    ('gpt-6d0a41be-8c93', 'CON-', '-')
    """
    name = _UNSAFE.sub("-", text).strip(".")[:_LONGEST_NAME] or "-"
    return f"{name}-" if _RESERVED.fullmatch(name) else name


def is_safe_path(path: str) -> bool:
    """Whether a path with slashes stays in the kit and can lie on any file system.

    >>> is_safe_path("volumes/gpt-1/EFI/BOOT/BOOTX64.EFI"), is_safe_path("a/../../b"), is_safe_path("/etc/x")
    (True, False, False)
    """
    names = path.split("/")
    return len(path) <= _LONGEST_PATH and len(names) <= _DEEPEST and all(map(_is_safe, names))


def _is_safe(name: str) -> bool:
    if not name or len(name) > 255 or name[-1] in " ." or _RESERVED.fullmatch(name):
        return False
    return not any(letter in _FORBIDDEN or ord(letter) < 0x20 or ord(letter) == 0x7F for letter in name)


def folded(path: str) -> str:
    """What two paths have in common that are one on a FAT file system."""
    return fold(str(PurePosixPath(path)))
