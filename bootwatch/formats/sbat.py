"""What a program says of its parts' generations in its `.sbat` section: shim's SBAT.md.

A line each: component, generation, vendor, package, version, address. A vendor's own line has the vendor's
mark behind a full stop in the component. The least generations that shim asks for, its variable SbatLevel and
the mirror SbatLevelRT, are lines of the same form with the first two fields.
"""

from __future__ import annotations

from dataclasses import dataclass

_MOST_LINES = 256
_MOST_DIGITS = 10
_FIELDS = 6


@dataclass(frozen=True, slots=True)
class SbatEntry:
    """One line. The later fields are "" where it has none."""

    component: str
    generation: int
    vendor: str = ""
    package: str = ""
    version: str = ""
    address: str = ""


class SbatEntries(list[SbatEntry]):
    """The lines that are some, and what is wrong with others."""

    def __init__(self) -> None:
        super().__init__()
        self.problems: list[str] = []


def parse(text: str) -> SbatEntries:
    """Read a section's text, or a level's.

    >>> parse("sbat,1,SBAT Version,sbat,1,\\nloader,2,Fernwick Linux,loader,7.1,\\n")[1].generation
    2
    """
    found = SbatEntries()
    lines = text.rstrip("\0").split("\n", _MOST_LINES)
    for number, line in enumerate(lines[:_MOST_LINES], 1):
        component, *fields = line.strip("\r").split(",", _FIELDS)[:_FIELDS]
        generation = fields[0].strip() if fields else ""
        is_one = generation.isascii() and generation.isdigit() and len(generation) <= _MOST_DIGITS
        if component and is_one:
            found.append(SbatEntry(component, int(generation), *(field.strip() for field in fields[1:])))
        elif line.strip():
            found.problems.append(f"line {number} names no component and its generation")
    if len(lines) > _MOST_LINES:
        found.problems.append(f"more than {_MOST_LINES} lines")
    del found.problems[_MOST_LINES:]
    return found


def vendor(text: str) -> str:
    """Who built it: the first vendor with a line of its own; "" where nobody but the makers of the source is
    named.

    >>> vendor("sbat,1,SBAT Version,sbat,1,\\nloader.fernwick,2,Fernwick Linux,loader,7.1,\\n")
    'Fernwick Linux'
    """
    return next((one.vendor for one in parse(text) if "." in one.component and one.vendor), "")
