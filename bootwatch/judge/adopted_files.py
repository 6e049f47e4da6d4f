"""Files of a baseline's volumes, with some of what happened to them taken over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from bootwatch.judge.file_changes import same_files
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume

Files = dict[str, File]


def with_files(state: State, sides: Sides, changes: Iterable[Change]) -> State:
    """``state``, which holds the baseline's volumes by their old identities, with these changes of files."""
    paths: dict[str, list[str]] = {}
    for one in changes:
        if one.change.startswith(("loader-", "file-")):
            paths.setdefault(str(one.scope["volume"]), []).append(str(one.scope["path"]))
    partner = {before.identity: now for before, now in sides.volumes.same}
    volumes = dict(state.volumes)
    for identity, those in paths.items():
        files = _files(volumes[identity], partner[identity], those)
        volumes[identity] = replace(volumes[identity], files=files)
    return with_texts(replace(state, volumes=volumes), sides)


def _files(before: Volume, now: Volume, paths: Iterable[str]) -> Files:
    """The files of ``before``, but for those at ``paths`` what ``now`` holds; folders to match."""
    wanted = {fold(path) for path in paths}
    pairs = [
        (old, new)
        for old, new in same_files(before, now)
        if any(fold(one.path) in wanted for one in (old, new) if one)
    ]
    left = {fold(old.path) for old, _ in pairs if old}
    files = {path: one for path, one in before.files.items() if one.is_folder or fold(path) not in left}
    files |= {new.path: new for _, new in pairs if new}
    files = _without_empty(files, {old.path for old, _ in pairs if old}, now)
    return files | _folders(files, {new.path for _, new in pairs if new}, now)


def _folders(files: Files, paths: Iterable[str], now: Volume) -> Files:
    """The folders above these paths that are not there yet."""
    known = {fold(path) for path, one in files.items() if one.is_folder}
    above = {fold(folder) for path in paths for folder in _above(path)} - known
    held = (now.by_folded_path.get(folder) for folder in sorted(above))
    return {one.path: one for one in held if one}


def _without_empty(files: Files, paths: Iterable[str], now: Volume) -> Files:
    """Without the folders above these paths in which nothing is left, unless they are there now."""
    above = {fold(folder) for path in paths for folder in _above(path)}
    doubtful = {folder for folder in above if folder not in now.by_folded_path}
    kept = [path for path, one in files.items() if not one.is_folder or fold(path) not in doubtful]
    used = {fold(folder) for path in kept for folder in _above(path)}
    return {
        path: one for path, one in files.items() if not one.is_folder or fold(path) not in doubtful - used
    }


def _above(path: str) -> Iterable[str]:
    """The folders that a path lies in, innermost first."""
    while path := folder_of(path):
        yield path


def with_texts(state: State, sides: Sides) -> State:
    """With the texts of the files that were taken over, and without those that no file holds any more."""
    held, before = _digests(state.volumes), _digests(sides.before.volumes)
    texts = {own: text for own, text in sides.before.texts.items() if own in held or own not in before}
    new = held - before
    return replace(state, texts=texts | {own: text for own, text in sides.now.texts.items() if own in new})


def _digests(volumes: Mapping[str, Volume]) -> set[str | None]:
    return {file.sha256 for one in volumes.values() for file in one.files.values()}
