"""What a stick holds that starts a UEFI shell by itself: two scripts that find the right kit on it.

A shell runs startup.nsh from the folder that it came from; one in the firmware looks at the top of each
volume. So one lies beside the shell, and calls the one at the top.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bootwatch.recover.shell_text import can_name, said, script, shown, when

NAME = "startup.nsh"
BESIDE = ("EFI", "BOOT", NAME)
_MARK = "# Made by bootwatch for a stick with recovery kits"
_MOST_KITS = 40


@dataclass(frozen=True)
class Listed:
    """A kit on the stick: its folder, whose it is, and when it was made."""

    folder: str
    machine: str
    made: str


def is_ours(data: bytes) -> bool:
    """Whether a script is one of these, by its first line."""
    return data.startswith(script([_MARK]))


def at_top(kits: Iterable[Listed]) -> bytes:
    """Tries each kit in this order until one finds its volumes."""
    return script(_lines([one for one in kits if can_name(one.folder)][:_MOST_KITS]))


def beside() -> bytes:
    """The one beside the shell."""
    return script([_MARK, "@echo -off", f'"%0\\..\\..\\..\\{NAME}"'])


def _lines(kits: list[Listed]) -> Iterator[str]:
    yield _MARK
    yield "@echo -off"
    yield 'echo "Recovery kits on this stick:"'
    for one in kits:
        yield from said(f"{one.machine}, made {one.made[:10]} ({one.folder})", "  ")
    yield 'echo " "'
    yield "set -v bwfound no"
    for one in kits:
        start = f"%0\\..\\{one.folder}\\{NAME}"
        call = when(f'exist "{start}"', [f'"{start}"'])
        # Each kit's script sets it where one of its volumes is here.
        yield from when('"%bwfound%" == "no"', call)
    yield from when('"%bwfound%" == "no"', said(f"{shown(_NONE)}"))


_NONE = (
    "None of these kits is of this machine, or its disks don't answer. To leave, type: exit (or reset). "
    "The firmware's own menu may still start a system."
)
