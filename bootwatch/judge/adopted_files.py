"""Files of a baseline's volumes, with some of what happened to them taken over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from bootwatch.judge.file_changes import same_files
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change
from bootwatch.model.path import fold, folder_of, is_within
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
    for old, new in pairs:
        if new:
            files[new.path] = new
            _add_folders(files, new.path, now)
        elif old:
            _drop_folders(files, old.path, now)
    return files


def _add_folders(files: Files, path: str, now: Volume) -> None:
    known = {fold(one) for one, file in files.items() if file.is_folder}
    for folder in _above(path):
        held = now.file(folder)
        if held and fold(folder) not in known:
            files[held.path] = held


def _drop_folders(files: Files, path: str, now: Volume) -> None:
    """A folder that isn't there now and in which nothing is left goes with the last file in it."""
    for folder in _above(path):
        inside = [one for one in files if is_within(one, folder)]
        if now.file(folder) or any(fold(one) != fold(folder) for one in inside):
            return
        for one in inside:
            del files[one]


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
