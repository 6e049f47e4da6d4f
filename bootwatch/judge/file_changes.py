"""What happened to the files on boot volumes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bootwatch.judge.drafts import Draft
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.path import fold
from bootwatch.model.volume import File, Volume


def file_changes(sides: Sides) -> Iterator[Draft]:
    """Missing, added and changed files of every volume that was found again."""
    for before, now in sides.volumes.same:
        yield from _volume_changes(sides, before, now)


def _volume_changes(sides: Sides, before: Volume, now: Volume) -> Iterator[Draft]:
    former, today = _files(before), _files(now)
    for folded in sorted(former.keys() | today.keys()):
        old, new = former.get(folded), today.get(folded)
        if old == new or not sides.knows_file(before, now, folded):
            continue
        kind = _kind(old, new)
        if kind:
            yield _draft(sides, before, kind, old, new)


def _files(volume: Volume) -> dict[str, File]:
    return {fold(path): file for path, file in volume.files.items() if not file.is_folder}


def _kind(old: File | None, new: File | None) -> str | None:
    if old is None or new is None:
        return "missing" if old else "added"
    if old.sha256 is None or new.sha256 is None or old.sha256 == new.sha256:
        return None
    return "emptied" if new.size == 0 else "changed"


def _draft(sides: Sides, volume: Volume, kind: str, old: File | None, new: File | None) -> Draft:
    path = (old or new or File("", 0, "", None)).path
    is_loader = sides.is_loader(volume.identity, path)
    if not is_loader and kind == "emptied":
        kind = "changed"
    return Draft(
        change=f"{'loader' if is_loader else 'file'}-{kind}",
        identity=(plain(volume.identity), fold(path)),
        what=f"the {'loader' if is_loader else 'file'} {path}",
        where=f"{volume.identity}, {path}",
        system=sides.systems.of_file(volume.identity, path),
        before=_json(old),
        after=_json(new),
        path=path,
        scope={"volume": volume.identity, "path": path},
    )


def _json(file: File | None) -> dict[str, Any] | None:
    return {"size": file.size, "sha256": file.sha256} if file else None
