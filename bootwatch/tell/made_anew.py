"""What no copy is kept of, as a technician reads of it: which files, how large, and what makes them anew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bootwatch.keep.spares import LIMIT
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import joined

Document = dict[str, Any]

_MOST = 10
_MOST_BRIEF = 2
_NAME = 60


def made_anew_lines(files: Sequence[Document], head: str, width: int) -> list[str]:
    """A line each below ``head``; none where there are none."""
    if not files:
        return []
    said = f"{head}, since copies are kept only of programs up to {LIMIT >> 20} MiB and of small texts:"
    lines = wrapped(said, width)
    for one in files[:_MOST]:
        lines += wrapped(_phrase(one), width, "  - ")
    if len(files) > _MOST:
        lines.append(f"  and {len(files) - _MOST} more")
    return lines


def made_anew_brief(files: Sequence[Document]) -> str:
    """Those of one volume, for where there is little room."""
    shown = [f"{plain(str(one['path']), _NAME)} ({size(int(one['size']))})" for one in files[:_MOST_BRIEF]]
    more = [f"{len(files) - _MOST_BRIEF} more"] if len(files) > _MOST_BRIEF else []
    return f"{', '.join([*shown, *more])}: made anew by its system's own tools, or from its packages"


def _phrase(one: Document) -> str:
    systems = list(dict.fromkeys(plain(str(name), _NAME) for name in one["systems"]))
    whose = f"{systems[0]}'s own tools, or from its packages"
    if len(systems) > 1:
        whose = f"the own tools of {joined(systems)}, or from their packages"
    where = f"{plain(str(one['path']))} on {plain(str(one['where']))}"
    return f"{where} ({size(int(one['size']))}): made anew by {whose}"


def size(count: int) -> str:
    """As people say how large a file is."""
    return f"{count / 1e6:.0f} MB" if count >= 10**6 else f"{count / 1e3:.0f} kB"
