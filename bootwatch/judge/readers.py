"""Which loader reads which settings: learnt from where they lie and from the names in its program.

Neither says it for certain, so the better sign wins: a program that names the settings; one that hands over
to a neighbour that does; settings in the loader's own folder; for entries of the Boot Loader Specification,
which lie in a folder of their own, the only loader on the volume that has no other settings.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

from bootwatch.formats.pe import SUBSYSTEM_APPLICATION
from bootwatch.judge.glance import BOOT_FOLDER
from bootwatch.judge.menu import Menu
from bootwatch.judge.named_file import is_unified
from bootwatch.judge.settings_text import parse
from bootwatch.model.disk import XBOOTLDR
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import ENTRIES_FOLDER, File, Volume

IMAGES_FOLDER = "\\EFI\\LINUX"
_ENTRIES = fold(ENTRIES_FOLDER)
_FOR_PEOPLE = re.compile(r".*\.(?:csv|txt|log|md|html?|nsh|xml|json)", re.IGNORECASE)
# What a loader of boot entries alone may name besides them.
_ENTRIES_OWN = "loader.conf"


@dataclass(frozen=True)
class Reading:
    """What a loader reads. ``entries`` None: it may be the one that reads the volume's entries.

    ``stage`` is a neighbour that it hands over to; ``lost_stage`` names programs of which it needs one, and
    none is there. ``needs_entries``: without any it has nothing to start.
    """

    settings: tuple[File, ...] = ()
    entries: bool | None = False
    stage: File | None = None
    lost_stage: tuple[str, ...] = ()
    needs_entries: bool = False


class Readers:
    """Of all volumes of one snapshot."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._shelves: dict[str, _Shelf] = {}

    def shelf(self, volume: Volume) -> _Shelf:
        """The volume's files by their folders."""
        if volume.identity not in self._shelves:
            self._shelves[volume.identity] = _Shelf(volume, self._state.texts)
        return self._shelves[volume.identity]

    def menu(self, file: File) -> Menu | None:
        """What a file of settings says; None where its content was not kept."""
        text = self.text(file)
        return None if text is None else parse(text)

    def text(self, file: File) -> bytes | None:
        """A small text file's content, None where it was not kept."""
        return self._state.texts.get(file.sha256 or "")

    def entry_volumes(self, volume: Volume) -> list[Volume]:
        """Where a loader on this volume looks for entries: there, and on the disk's extended boot volume."""
        others = self._state.volumes.values()
        extended = [one for one in others if one.type == XBOOTLDR and one.disk == volume.disk]
        return [volume, *(one for one in extended if one.identity != volume.identity)]

    def may_miss_entries(self, volume: Volume) -> bool:
        """Whether the disk has an extended boot volume whose files were not read."""
        disk = self._state.disks.get(volume.disk)
        seen = {(one.disk, one.number) for one in self._state.volumes.values()}
        parts = disk.partitions if disk else ()
        return any(part.type == XBOOTLDR and (volume.disk, part.number) not in seen for part in parts)

    def reading(self, volume: Volume, loader: File) -> Reading:
        """What the loader reads, as far as can be told."""
        shelf = self.shelf(volume)
        entries = any(self.shelf(one).has_entries for one in self.entry_volumes(volume))
        return (
            shelf.by_its_names(loader)
            or shelf.by_hand_over(loader)
            or shelf.by_its_folder(loader)
            or Reading(entries=shelf.may_read_entries(loader) if entries else False)
        )


class _Shelf:
    """One volume's files."""

    def __init__(self, volume: Volume, texts: dict[str, bytes]) -> None:
        self._volume, self._texts = volume, texts

    def files(self, folder: str) -> list[File]:
        return self._volume.by_folder.get(fold(folder), [])

    @cached_property
    def entries(self) -> list[File]:
        return [file for file in self.files(ENTRIES_FOLDER) if fold(file.path).endswith(".CONF")]

    @cached_property
    def images(self) -> list[File]:
        return [file for file in self.files(IMAGES_FOLDER) if fold(file.path).endswith(".EFI")]

    @property
    def has_entries(self) -> bool:
        return bool(self.entries or self.images)

    # signs, the better ones first

    def by_its_names(self, loader: File, neighbours: list[File] | None = None) -> Reading | None:
        """The program names settings in its folder, or the folder of boot entries."""
        names = _mentions(loader)
        if not names:
            return None
        named = [file for file in neighbours or self._around(loader) if _base(file) in names]
        settings = tuple(file for file in named if self._is_text(file))
        if settings:
            return Reading(settings, entries=ENTRIES_FOLDER in names)
        if ENTRIES_FOLDER in names:
            others = {name for name in names if name.endswith((".cfg", ".conf"))} - {_ENTRIES_OWN}
            return Reading(entries=True, needs_entries=not others)
        copies = self._copies_elsewhere(loader) if neighbours is None else []
        found = (self.by_its_names(loader, self._around(copy)) for copy in copies)
        return next((one for one in found if one), None)

    def by_hand_over(self, loader: File) -> Reading | None:
        """The program names a neighbour that reads settings, and none itself."""
        wanted = {name for name in _mentions(loader) if name.endswith(".efi")} - {_base(loader)}
        if not wanted:
            return None
        around = self._around(loader)
        for stage in around:
            if _base(stage) in wanted and stage.program and (is_unified(stage) or self.by_its_names(stage)):
                return Reading(stage=stage)
        texts = [file for file in self._settings_in(around) if not self._is_read_by_another(file, around)]
        lost = wanted - {_base(file) for file in around}
        are_known = all(file.program.mentions is not None for file in around if file.program)
        if lost and texts and are_known:
            return Reading(tuple(texts), lost_stage=tuple(sorted(lost)))
        return None

    def by_its_folder(self, loader: File) -> Reading | None:
        """There are settings beside it, or beside a copy of it, that no other program names."""
        for place in (loader, *self._copies_elsewhere(loader)):
            around = self._around(place)
            texts = [file for file in self._settings_in(around) if not self._is_read_by_another(file, around)]
            if texts:
                return Reading(tuple(texts))
        return None

    def may_read_entries(self, loader: File) -> bool | None:
        """Whether it reads the boot entries, judged by what else there is on the volume."""
        if self._has_named_reader:
            return False
        folders = self._reader_folders
        own = fold(folder_of(loader.path))
        if own == BOOT_FOLDER:
            copies = {fold(folder_of(copy.path)) for copy in self._copies_elsewhere(loader)}
            own = next(iter(sorted(copies & set(folders))), own)
        if own == BOOT_FOLDER:
            return True if len(folders) <= 1 else None
        if folders == [own]:
            return True
        spoken_of = [folder for folder in folders if _name(folder) in self._entry_words]
        if len(spoken_of) == 1:
            return spoken_of == [own]
        return None if own in folders else False

    # what these look at

    def _around(self, loader: File) -> list[File]:
        """The files in its folder."""
        return self.files(folder_of(loader.path))

    def _is_text(self, file: File) -> bool:
        return (file.sha256 or "") in self._texts and not file.program

    def _settings_in(self, files: list[File]) -> Iterator[File]:
        for file in files:
            if self._is_text(file) and not _FOR_PEOPLE.fullmatch(file.path):
                menu = parse(self._texts[file.sha256 or ""])
                if menu.stanzas:
                    yield file

    def _is_read_by_another(self, text: File, around: list[File]) -> bool:
        return any(_base(text) in _mentions(file) for file in around)

    def _copies_elsewhere(self, loader: File) -> list[File]:
        """The same program in other folders, as installers put it there."""
        own = folder_of(loader.path)
        copies = self._by_content.get(loader.sha256 or "", [])
        return [file for file in copies if folder_of(file.path) != own]

    @cached_property
    def _programs(self) -> list[File]:
        return [file for files in self._volume.by_folder.values() for file in files if file.program]

    @cached_property
    def _by_content(self) -> dict[str, list[File]]:
        found: dict[str, list[File]] = {}
        for file in self._programs:
            if file.sha256:
                found.setdefault(file.sha256, []).append(file)
        return found

    @cached_property
    def _has_named_reader(self) -> bool:
        return any(ENTRIES_FOLDER in _mentions(file) for file in self._programs)

    @cached_property
    def _reader_folders(self) -> list[str]:
        """Folders of loaders without settings of their own, sorted; the default files' is none."""
        found = set()
        for folder, files in self._volume.by_folder.items():
            loaders = [file for file in files if _is_loader(file)]
            if loaders and folder not in (IMAGES_FOLDER, BOOT_FOLDER) and not self._is_settled(files):
                found.add(folder)
        return sorted(found)

    def _is_settled(self, files: list[File]) -> bool:
        """Whether what the loaders in a folder read is known, or what lies there is no loader."""
        return any(True for _ in self._settings_in(files)) or all(
            fold(file.path) in self._entry_paths for file in files if _is_loader(file)
        )

    @cached_property
    def _entry_texts(self) -> str:
        texts = (self._texts.get(file.sha256 or "", b"") for file in self.entries[:_MOST_READ])
        names = [file.path for file in (*self.entries, *self.images)][:_MOST_READ]
        return fold("\n".join([*(text[:_TEXT_READ].decode("utf-8", "replace") for text in texts), *names]))

    @cached_property
    def _entry_words(self) -> frozenset[str]:
        return frozenset(re.findall(r"\w{2,}", self._entry_texts))

    @cached_property
    def _entry_paths(self) -> frozenset[str]:
        """Everything in the boot entries that looks like a path: kernels are programs too."""
        return frozenset(re.findall(r"\\\S+", self._entry_texts.replace("/", "\\")))


_MOST_READ, _TEXT_READ = 100, 4096


def _is_loader(file: File) -> bool:
    program = file.program
    if program is None or program.subsystem not in (None, SUBSYSTEM_APPLICATION) or is_unified(file):
        return False
    return fold(file.path).endswith(".EFI")


def _mentions(file: File) -> tuple[str, ...]:
    return (file.program.mentions or ()) if file.program else ()


def _base(file: File) -> str:
    return _lower_name(file.path)


@lru_cache(maxsize=1 << 16)
def _lower_name(path: str) -> str:
    """Remembered: every loader in a folder is held against all that lie beside it."""
    return path.rpartition("\\")[2].lower()


def _name(folder: str) -> str:
    return folder.rpartition("\\")[2]
