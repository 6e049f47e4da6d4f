"""Programs that Secure Boot, as it is set today, would refuse, or of which that can't be told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain

_SAID = {
    "refused": "{where} would be refused by Secure Boot as it is set today: {why}.",
    "unknown": "{where}: whether Secure Boot takes it can't be told: {why}.",
}
_MOST = 20


def trust_lines(files: Sequence[dict[str, Any]], width: int) -> list[str]:
    """A title and a line for each; nothing where there are none."""
    lines: list[str] = []
    for one in files[:_MOST]:
        where = f"{plain(str(one['path']))} on {plain(str(one['volume']))}"
        said = _SAID[one["verdict"]].format(where=where, why=plain(str(one["why"]), 500))
        lines += wrapped(said, width, "  - ")
    if len(files) > _MOST:
        lines.append(f"  - and {len(files) - _MOST} more (with --json all)")
    return ["Secure Boot", "", *lines] if lines else []
