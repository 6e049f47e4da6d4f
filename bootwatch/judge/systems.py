"""What a system is called: by its entry's label, else by its loader's folder."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from bootwatch.judge.entries import Entry
from bootwatch.judge.pairs import plain
from bootwatch.model.path import fold, folder_of, is_within

_OWN_FOLDER = re.compile(r"\\EFI\\([^\\]+)", re.IGNORECASE)
_SHARED = frozenset({"BOOT", "TOOLS"})


class Systems:
    """Names for systems, from the entries of both sides (the baseline's first)."""

    def __init__(self, entries: Iterable[Entry], names: Mapping[str, str] | None = None) -> None:
        self._entries = [entry for entry in entries if entry.file]
        self._names = {fold(given): name for given, name in (names or {}).items()}

    def of_entry(self, entry: Entry) -> str | None:
        """None for an entry that names no loader: it belongs to the firmware, not to a system."""
        if not entry.file:
            return None
        return self._named(entry.label or _folder_name(entry.file) or entry.name)

    def of_file(self, volume: str, path: str) -> str | None:
        """Whose a file is; None where it can't be told."""
        owner = self._of_place(volume, path) or self._of_folder(volume, path)
        if owner:
            return self.of_entry(owner)
        name = _folder_name(path)
        if name and fold(name) not in _SHARED:
            return self._named(name)
        return self.of_volume(volume)

    def of_volume(self, volume: str) -> str | None:
        """The one system whose entries lead to a volume; None where there is none or more than one."""
        names = {self.of_entry(entry) for entry in self._entries if entry.volume == plain(volume)}
        return names.pop() if len(names) == 1 else None

    def _of_place(self, volume: str, path: str) -> Entry | None:
        place = (plain(volume), fold(path))
        return next((entry for entry in self._entries if entry.place == place), None)

    def _of_folder(self, volume: str, path: str) -> Entry | None:
        for entry in self._entries:
            folder = folder_of(entry.file or "")
            shared = fold(folder_of(folder)) == "\\EFI" and fold(folder)[5:] in _SHARED
            if (
                entry.volume == plain(volume)
                and len(folder) > len("\\EFI")
                and not shared
                and is_within(path, folder)
            ):
                return entry
        return None

    def _named(self, name: str) -> str:
        return self._names.get(fold(name), name)


def _folder_name(path: str) -> str | None:
    match = _OWN_FOLDER.match(path)
    return match[1] if match and "\\" in path[match.end() :] else None
