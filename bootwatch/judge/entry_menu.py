"""The start menu that entries of the Boot Loader Specification make up."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterator
from dataclasses import dataclass, replace

from bootwatch.judge.boot_entries import BootEntry, image_entry, order_key, read_entry
from bootwatch.judge.ground import Ground
from bootwatch.judge.named_file import is_unified
from bootwatch.judge.outcome import Outcome, Outcomes
from bootwatch.judge.readers import IMAGES_FOLDER, Readers
from bootwatch.judge.settings_text import parse
from bootwatch.judge.stanza_check import Home, StanzaCheck
from bootwatch.model.path import fold
from bootwatch.model.volume import ENTRIES_FOLDER, File, Volume

_MOST = 512
_SETTINGS = "\\loader\\loader.conf"


@dataclass(frozen=True)
class _Listed:
    entry: BootEntry
    volume: Volume
    file: File


class EntryMenu:
    """Of the loader on one volume."""

    def __init__(self, ground: Ground, readers: Readers, check: StanzaCheck) -> None:
        self._ground, self._readers, self._check = ground, readers, check

    def outcomes(self, home: Home) -> Outcomes:
        """Every entry in the order of the menu; last those that a loader doesn't show: no kernel is there."""
        volumes = self._readers.entry_volumes(home.volume)
        doubtful = tuple(outcome for volume in volumes for outcome in self._doubtful(volume))
        listed = sorted(
            (one for volume in volumes for one in self._listed(volume)), key=lambda one: order_key(one.entry)
        )
        found = [self._outcome(one, home) for one in listed[:_MOST]]
        shown = [one for one in found if one.is_shown]
        if len(listed) > _MOST:
            doubtful = (*doubtful, Outcome(None, f"has more than {_MOST} entries"))
        everything = (*shown, *(one for one in found if not one.is_shown), *doubtful)
        is_sure = len(shown) < 2 or not any(one.entry.is_image for one in listed)
        return Outcomes(everything, self._default(home, shown, is_sure))

    def _listed(self, volume: Volume) -> Iterator[_Listed]:
        shelf = self._readers.shelf(volume)
        for file in shelf.entries[:_MOST]:
            text = self._readers.text(file)
            entry = read_entry(file.path, text) if text is not None else None
            if entry and self._is_ours(entry):
                yield _Listed(entry, volume, file)
        for file in shelf.images[:_MOST]:
            if is_unified(file):
                yield _Listed(_image(file), volume, file)

    def _is_ours(self, entry: BootEntry) -> bool:
        """Loaders leave out what is for another architecture."""
        return entry.architecture.upper() in ("", self._ground.architecture.name)

    def _doubtful(self, volume: Volume) -> Iterator[Outcome]:
        """Entries of which nothing is known, and what may be entries."""
        for file in self._readers.shelf(volume).entries:
            if file.size and self._readers.text(file) is None and not file.program:
                yield Outcome(None, f"has the entry {file.path}, whose content was not kept")
        for folder in (ENTRIES_FOLDER, IMAGES_FOLDER):
            if self._ground.is_hidden(volume, f"{folder}\\?"):
                yield Outcome(None, f"may have entries in {folder} that could not be read")

    def _outcome(self, one: _Listed, home: Home) -> Outcome:
        found = self._check.outcome(one.entry.stanza, home, one.volume, one.file).of_entry(one.entry.id)
        own = (one.volume.identity, fold(one.file.path))
        return found if own in found.uses else replace(found, uses=(own, *found.uses))

    def _default(self, home: Home, shown: list[Outcome], is_sure: bool) -> int | None:
        """The entry that the loader's settings choose by a pattern, else the first one."""
        wanted = self._wanted(home.volume)
        if wanted.startswith("@"):
            return None
        for place, one in enumerate(shown):
            if wanted and fnmatch.fnmatchcase(fold(one.id), fold(wanted)):
                return place
        return 0 if is_sure and (shown or not wanted) else None

    def _wanted(self, volume: Volume) -> str:
        file = volume.file(_SETTINGS)
        text = self._readers.text(file) if file else None
        if text is None:
            return "@not known" if file and file.size else ""
        return parse(text).default or ""


def _image(file: File) -> BootEntry:
    program = file.program
    names = program.names if program else {}
    return image_entry(file.path, names.get("os", ""), names.get("os_id", ""))
