"""Files that went with a loader: what lay beside it, or on a volume that was made anew. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bootwatch.model.change import Change
from bootwatch.model.path import fold, folder_of

_LOADERS = ("loader-missing", "loader-emptied")
_MOST = 200


def companions(chosen: Sequence[Change], changes: Iterable[Change]) -> list[Change]:
    """Of all ``changes`` the missing files, however little anybody misses them, that lay in a folder of which
    a loader is to come back, or on a volume whose file system is a new one."""
    anew = {str(one.scope["volume"]) for one in chosen if one.change == "volume-reformatted"}
    folders = {_place(one) for one in chosen if one.change in _LOADERS} - {None}
    found = (
        one
        for one in changes
        if one.change == "file-missing"
        and one not in chosen
        and (str(one.scope["volume"]) in anew or _place(one) in folders)
    )
    return list(found)[:_MOST]


def _place(change: Change) -> tuple[str, str] | None:
    """Its volume and folder; None at the top of a volume."""
    folder = folder_of(fold(str(change.scope["path"])))
    return (str(change.scope["volume"]), folder) if folder else None
