"""Follows loaders through their settings to kernels, and to other loaders."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge.entry_menu import EntryMenu
from bootwatch.judge.ground import Ground, Place
from bootwatch.judge.menu import Menu, Role, Stanza
from bootwatch.judge.named_file import Fate, NamedFiles, is_unified
from bootwatch.judge.outcome import Outcome, Outcomes
from bootwatch.judge.reach import Depth, Reach
from bootwatch.judge.readers import Readers, Reading
from bootwatch.judge.settings_words import roots_in, words_of
from bootwatch.judge.stanza_check import Home, StanzaCheck
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import ENTRIES_FOLDER, File, Volume

_NOT_KNOWN = Depth(Reach.LOADER, True, "what it starts in turn is not known")
_TOO_MUCH = "leads further than is followed"
_MOST_STEPS = 64
_MOST_BYTES = 512 << 10
_MOST_SHOWN = 3


class Follower:
    """Of one snapshot. What was found of a loader is kept."""

    def __init__(self, state: State, gaps: tuple[Gap, ...] = ()) -> None:
        self._ground = Ground(state, gaps)
        self._readers = Readers(state)
        self._files = NamedFiles(self._ground)
        self._check = StanzaCheck(self._files, self._loader)
        self._known: dict[Place, Depth] = {}
        self._visiting: set[Place] = set()
        self._steps = self._bytes = 0

    def follow(self, volume: str, path: str) -> Depth:
        """From the loader at ``path`` on the volume with this identity."""
        self._steps = self._bytes = 0
        self._check.begin()
        held = self._ground.state.volumes.get(volume)
        if held is None:
            return Depth(Reach.LOADER, None, "its volume was not read")
        file = held.file(path)
        if file is None or file.is_folder:
            if self._ground.is_hidden(held, path):
                return Depth(Reach.LOADER, None, "whether the file is there could not be read")
            return Depth(Reach.LOADER, False, "the file is not there")
        return self._loader(held, file)

    def _loader(self, volume: Volume, file: File) -> Depth:
        place = _place(volume, file)
        if place in self._known:
            return self._known[place]
        if place in self._visiting:
            return Depth(Reach.LOADER, False, "its start menu leads round in a circle")
        if self._steps >= _MOST_STEPS:
            return Depth(Reach.LOADER, None, f"its start menu {_TOO_MUCH}")
        self._steps += 1
        self._visiting.add(place)
        depth = self._image(volume, file) if is_unified(file) else self._menus(volume, file)
        self._visiting.discard(place)
        if not self._visiting:
            self._known[place] = depth
        return depth

    def _image(self, volume: Volume, file: File) -> Depth:
        """A unified kernel image (UAPI) brings its kernel along."""
        fate, why = self._files.look(Role.PROGRAM, volume, file)
        if fate is not Fate.SOUND:
            starts = False if fate is Fate.BROKEN else None
            return Depth(Reach.KERNEL, starts, f"it is a unified kernel image, {why}")
        cmdline = file.program.cmdline if file.program else ""
        for name in roots_in(words_of(cmdline)):
            root = self._files.root(name)
            if root.fate is not Fate.SOUND:
                starts = False if root.fate is Fate.BROKEN else None
                return Depth(Reach.KERNEL, starts, f"it is a unified kernel image and {root.why}")
        return Depth(Reach.KERNEL, True, "it is a unified kernel image, and whole")

    # menus

    def _menus(self, volume: Volume, loader: File) -> Depth:
        reading = self._readers.reading(volume, loader)
        if reading.lost_stage:
            return _without_stage(reading)
        if reading.stage:
            return self._handed_over(volume, reading.stage)
        home = Home(volume, folder_of(loader.path))
        found = [self._settings(home, volume, text) for text in reading.settings]
        found = [one for one in found if one.all]
        if found:
            both = found[0] if len(found) == 1 else _joined(found)
            return both.depth()
        return self._by_entries(home, reading) if reading.entries is not False else _NOT_KNOWN

    def _handed_over(self, volume: Volume, stage: File) -> Depth:
        depth = self._loader(volume, stage)
        why = f"it hands over to {stage.path}; {depth.why}"
        return replace(depth, why=why, uses=(_place(volume, stage), *depth.uses))

    def _settings(self, home: Home, volume: Volume, text: File) -> Outcomes:
        """The menu that a file of settings describes, and those that it leads on to."""
        place = _place(volume, text)
        menu = self._readers.menu(text)
        if menu is None or place in self._visiting:
            return Outcomes(())
        self._bytes += text.size
        if self._steps >= _MOST_STEPS or self._bytes > _MOST_BYTES:
            return Outcomes((Outcome(None, _TOO_MUCH),))
        self._steps += 1
        self._visiting.add(place)
        menus = [self._stanza(home, volume, text, stanza) for stanza in menu.stanzas]
        self._visiting.discard(place)
        if len(menus) == 1:
            return replace(menus[0], uses=(place, *menus[0].uses))
        found = tuple(outcome for one in menus for outcome in one.all)
        return Outcomes(found, _default_of(menu, found), (place,))

    def _stanza(self, home: Home, volume: Volume, text: File, stanza: Stanza) -> Outcomes:
        """An entry, or the menu of the settings that it leads on to."""
        further = [target for target in stanza.targets if target.role is Role.SETTINGS]
        rest = replace(stanza, targets=tuple(one for one in stanza.targets if one not in further))
        found = []
        if rest.targets or not further:
            found.append(Outcomes((self._check.outcome(rest, home, volume, text),)))
        for target in further:
            named = self._files.find(target, volume, folder_of(text.path))
            if named.fate is Fate.SOUND and named.volume and named.file:
                menu = self._settings(home, named.volume, named.file)
                found.append(menu if menu.all else _unread_settings(named.volume, named.file))
            elif named.fate is not Fate.IGNORED:
                found.append(Outcomes((self._check.of_named(named, stanza.title),)))
        return found[0] if len(found) == 1 else _joined(found)

    def _by_entries(self, home: Home, reading: Reading) -> Depth:
        menu = EntryMenu(self._ground, self._readers, self._check)
        outcomes = menu.outcomes(home)
        if outcomes.all:
            depth = outcomes.depth()
            return depth if reading.entries else _by_somebody(depth)
        if reading.needs_entries and not self._readers.may_miss_entries(home.volume):
            why = f"its start menu is empty: no entries in {ENTRIES_FOLDER}, no images in \\EFI\\Linux"
            return Depth(Reach.LOADER, False, why)
        return _NOT_KNOWN


def _place(volume: Volume, file: File) -> Place:
    return (volume.identity, fold(file.path))


def _without_stage(reading: Reading) -> Depth:
    names = ", ".join(reading.lost_stage[:_MOST_SHOWN])
    more = len(reading.lost_stage) - _MOST_SHOWN
    names += f" and {more} more" if more > 0 else ""
    text = reading.settings[0].path
    why = f"it hands over to another program, and none is there that reads {text} (it names {names})"
    return Depth(Reach.LOADER, False, why)


def _unread_settings(volume: Volume, file: File) -> Outcomes:
    why = f"goes on in {file.path}, whose content was not kept"
    return Outcomes((Outcome(True, why, uses=(_place(volume, file),)),))


def _joined(menus: list[Outcomes]) -> Outcomes:
    """Several menus one after the other; which entry starts by itself is the first one's to say."""
    uses = tuple(place for one in menus for place in one.uses)
    default = menus[0].default if menus and menus[0].all else None
    return Outcomes(tuple(outcome for one in menus for outcome in one.all), default, uses)


def _default_of(menu: Menu, found: tuple[Outcome, ...]) -> int | None:
    """The place of the entry that starts by itself: the first one unless the settings name another."""
    wanted = (menu.default or "0").strip().casefold()
    if wanted == "0" or len(found) == 1:
        return 0
    titles = [one.title.casefold() for one in found]
    return titles.index(wanted) if wanted in titles else None


def _by_somebody(depth: Depth) -> Depth:
    """What may be another loader's menu says nothing for certain, nor does where it leads."""
    why = f"which loader on this volume reads the entries in {ENTRIES_FOLDER} is not known; {depth.why}"
    return Depth(Reach.LOADER, True if depth.starts else None, why)
