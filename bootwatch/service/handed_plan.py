"""A plan that the reader's user worked out, before root shows it or goes by it: each value of its kind."""

from __future__ import annotations

from typing import Any

from bootwatch.judge.outlook import How
from bootwatch.keep.conform import require
from bootwatch.problem import Problem
from bootwatch.service.asked import Document, Kind

_ROWS: Any = list[dict[str, str]]
_FIELDS: dict[str, Any] = {
    "kind": str,
    "machine": str,
    "snapshot": int | None,
    "time": str,
    "system": str,
    "left": _ROWS,
    "moves": _ROWS,
    "questions": _ROWS,
    "volumes": dict[str, str | None],
    "baseline": dict[str, str] | None,
}
_MAYBE: dict[str, Any] = {
    "last": dict[str, Any] | None,
    "noted": list[str],
    "dirty": list[str],
    "remedy": str,
    "single_points": dict[str, _ROWS],
    "secure_boot": _ROWS,
}
_LAST: dict[str, Any] = {
    "restore": int,
    "began": str,
    "finished": bool,
    "written": int,
    "started": bool,
    "dropped": list[str],
    "unknown": list[str],
}
_NAMED = {
    "left": ("what", "why"),
    "moves": ("was", "now", "how"),
    "questions": ("was", "now", "label", "why"),
}


def require_plan(made: Document) -> None:
    """Raise Problem unless all that is shown of a plan is there and of its kind. Its steps are looked at one
    by one elsewhere."""
    try:
        _require(made, _FIELDS)
        _require(made, {name: kind for name, kind in _MAYBE.items() if name in made})
        _require_kind(made)
        for field, names in _NAMED.items():
            for row in made[field]:
                _require(row, dict.fromkeys(names, str))
        for row in made.get("secure_boot", ()):
            _require(row, dict.fromkeys(("volume", "path", "verdict", "why"), str))
            if row["verdict"] not in ("refused", "unknown"):
                raise ValueError(f"{row['verdict']!r} is nothing that Secure Boot would say")
        for row in _points(made):
            _require(row, {"loss": str, "effect": str})
        for when in ("now", "then"):
            _require_starts(made[when])
    except (KeyError, TypeError, ValueError) as error:
        raise Problem(f"The plan can't be used ({error}); nothing was written.") from error


def _require_kind(made: Document) -> None:
    if Kind(made["kind"]) is Kind.LOST:
        _require(made["baseline"], dict.fromkeys(("saved", "reason", "digest"), str))
    elif made["baseline"] is not None:
        raise ValueError("it goes by no baseline")
    if made.get("last") is not None:
        _require(made["last"], _LAST)


def _points(made: Document) -> list[dict[str, str]]:
    both = made.get("single_points")
    return [*both["before"], *both["after"]] if both else []


def _require_starts(found: Document) -> None:
    _require(found, {"systems": _ROWS, "next": str | None, "by": str})
    for row in found["systems"]:
        _require(row, {"name": str, "how": str})
        How(row["how"])


def _require(document: Document, kinds: dict[str, Any]) -> None:
    for name, kind in kinds.items():
        require(document[name], kind, name)
