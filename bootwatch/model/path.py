"""Paths on a FAT volume: backslashes, a leading one included, spelled as on the volume."""

from __future__ import annotations

import re

# Boot Loader Specification (UAPI.1), boot counting: NAME+LEFT[-DONE].conf or .efi.
_COUNT = re.compile(r"\+[0-9]+(-[0-9]+)?(?=\.(?:conf|efi)$)", re.IGNORECASE)


def fold(path: str) -> str:
    """Fold a FAT path for comparison: upper case in ASCII and Latin-1, nothing beyond.

    Two paths name the same file exactly when they are equal after folding.
    """
    if path.isascii():
        return path.upper()
    return "".join(_fold_character(character) for character in path)


def _fold_character(character: str) -> str:
    if ord(character) > 0xFF:
        return character
    upper = character.upper()
    # ß, µ and ÿ have no upper case within Latin-1.
    return upper if len(upper) == 1 and ord(upper) <= 0xFF else character


def folder_of(path: str) -> str:
    """The folder that ``path`` lies in, without a trailing backslash; "" for the volume's root."""
    return path.rpartition("\\")[0]


def is_within(path: str, folder: str) -> bool:
    """Whether ``path`` is ``folder`` itself or lies below it, folded."""
    inner, outer = fold(path), fold(folder).rstrip("\\")
    return inner == outer or inner.startswith(outer + "\\")


def uncounted(path: str) -> str:
    """The path without the count of tries that a loader keeps in the name of an entry's file
    (Boot Loader Specification, boot counting)."""
    return _COUNT.sub("", path)
