"""Texts in scripts of the UEFI shell (UEFI Shell 2.2): quoted, bounded, and no name gets to be a command."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

# What stands for itself within double quotes; everything else can begin a command there.
_SAFE = frozenset(" .,:!?'()-_=+/\\")
_WIDTH = 76
# Characters: what the shell takes in one line of a script.
LONGEST_LINE = 7_000
# How %lasterror% spells that there is none such: a command, or a variable for dmpstore (SHELL_NOT_FOUND).
NOT_FOUND = "0xE"


def shown(text: str) -> str:
    """For `echo`: what a screen of the firmware shows and the shell leaves alone; the rest as question marks.

    >>> shown('Büro "1" 50%0 > x')
    'B?ro ?1? 50?0 ? x'
    """
    return "".join(letter if _is_plain(letter) and letter.isascii() else "?" for letter in text)


def named(text: str) -> str:
    """A label as `bcfg` may be given it; letters of any language stay.

    >>> named('Büro "1"%')
    'Büro  1'
    """
    return "".join(letter if _is_plain(letter) else " " for letter in text).strip()


def can_name(path: str) -> bool:
    """Whether the shell can be told of that path on a volume: brackets and the like are patterns there.

    >>> can_name("\\\\EFI\\\\quarry\\\\startx64.efi"), can_name("\\\\EFI\\\\a[1].efi"), can_name("\\\\100%")
    (True, False, False)
    """
    return all(_is_plain(letter) or letter in "~@{}$" for letter in path) and "?" not in path


def _is_plain(letter: str) -> bool:
    return letter in _SAFE or (letter.isalnum() and len(letter.encode("utf-16-le", "replace")) == 2)


def said(text: str, indent: str = "") -> list[str]:
    """Lines that show a paragraph."""
    lines = textwrap.wrap(shown(text), _WIDTH, initial_indent=indent, subsequent_indent=indent)
    return [f'echo "{line}"' for line in lines]


def remarks(text: str) -> list[str]:
    """Lines of comment."""
    return [f"# {line}" for line in textwrap.wrap(shown(text), _WIDTH)]


def when(condition: str, lines: Iterable[str], otherwise: Iterable[str] = ()) -> list[str]:
    """The lines where the condition holds."""
    rest = [f"  {line}" for line in otherwise]
    return [
        f"if {condition} then",
        *(f"  {line}" for line in lines),
        *(["else", *rest] if rest else []),
        "endif",
    ]


def each(name: str, values: str, lines: Iterable[str]) -> list[str]:
    """The lines for each value; ``values`` as the shell's `for` spells them."""
    return [f"for %{name} {values}", *(f"  {line}" for line in lines), "endfor"]


def script(lines: Iterable[str]) -> bytes:
    """The file: UTF-16 with its mark, since names need not be ASCII."""
    return b"\xff\xfe" + ("\r\n".join(lines) + "\r\n").encode("utf-16-le", "replace")
