"""What could not be read, as the last part of a report."""

from __future__ import annotations

from collections.abc import Sequence

from bootwatch.model.gap import Gap
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped

_MOST = 20


def unread(gaps: Sequence[Gap], width: int, *, more: int = 0, see: str = "see --json") -> list[str]:
    """The heading and a line for each; nothing where there are none. ``more`` were left out before; ``see``
    says where all of them are."""
    if not gaps:
        return []
    lines = [*wrapped("Could not be read, so nothing is said about it", width), ""]
    for gap in gaps[:_MOST]:
        lines += wrapped(phrases.gap(gap), width, "  - ")
    hidden = len(gaps[_MOST:]) + more
    return lines + (wrapped(f"and {hidden} more: {see}", width, "  - ") if hidden else [])
