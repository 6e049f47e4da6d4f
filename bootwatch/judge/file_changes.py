"""What happened to the files on boot volumes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bootwatch.judge.drafts import Draft
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.path import fold, uncounted
from bootwatch.model.volume import File, Volume


def file_changes(sides: Sides) -> Iterator[Draft]:
    """Missing, added and changed files of every volume that was found again."""
    for before, now in sides.volumes.same:
        yield from _volume_changes(sides, before, now)


def _volume_changes(sides: Sides, before: Volume, now: Volume) -> Iterator[Draft]:
    for old, new in same_files(before, now):
        paths = [fold(one.path) for one in (old, new) if one]
        if old == new or not all(sides.knows_file(before, now, path) for path in paths):
            continue
        kind = _kind(old, new)
        if kind:
            yield _draft(sides, before, kind, old, new)


def same_files(before: Volume, now: Volume) -> Iterator[tuple[File | None, File | None]]:
    """Which file is which: by path; what is left by its path without a count of tries, which a loader writes
    into the name at each start (Boot Loader Specification, boot counting)."""
    former, today = _files(before), _files(now)
    gone = {uncounted(path): path for path in sorted(former.keys() - today.keys())}
    come = {uncounted(path): path for path in sorted(today.keys() - former.keys())}
    renamed = {gone[name]: come[name] for name in gone.keys() & come.keys()}
    new_names = set(renamed.values())
    for folded in sorted(former.keys() | today.keys()):
        if folded not in new_names:
            yield former.get(folded), today.get(renamed.get(folded, folded))


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
