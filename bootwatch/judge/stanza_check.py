"""One entry of a start menu, held against what is on the machine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from bootwatch.judge.ground import Place
from bootwatch.judge.menu import Role, Stanza, Target
from bootwatch.judge.named_file import Fate, Named, NamedFiles, is_unified
from bootwatch.judge.outcome import Outcome
from bootwatch.judge.reach import Depth, Lead, Reach
from bootwatch.judge.settings_words import roots_in, words_of
from bootwatch.model.path import fold, folder_of
from bootwatch.model.volume import File, Volume

_MOST_NAMED = 4000
_STARTED = (Role.KERNEL, Role.PROGRAM)
_WORST_FIRST = (Fate.BROKEN, Fate.UNKNOWN, Fate.UNREAD)
_STARTS = {Fate.BROKEN: False, Fate.UNKNOWN: None, Fate.UNREAD: True}

FollowLoader = Callable[[Volume, File], Depth]


@dataclass(frozen=True)
class Home:
    """Where the loader lies whose menu this is."""

    volume: Volume
    folder: str

    def holds(self, volume: Volume, file: File) -> bool:
        return volume is self.volume and fold(folder_of(file.path)) == fold(self.folder)


@dataclass
class _Findings:
    """What was found of one entry so far."""

    named: list[Named] = field(default_factory=list)
    leads: list[Lead] = field(default_factory=list)
    uses: list[Place] = field(default_factory=list)
    kernels: int = 0
    initrds: int = 0
    is_shown: bool = True
    # What another loader that it leads to comes to, and whether that lies in this one's folder.
    depth: Depth | None = None
    stays_home: bool = False

    def add(self, named: Named) -> None:
        self.named.append(named)
        if named.volume and named.file:
            self.uses.append((named.volume.identity, fold(named.file.path)))

    @property
    def worst(self) -> Named | None:
        return next((one for fate in _WORST_FIRST for one in self.named if one.fate is fate), None)


class StanzaCheck:
    """Checks entries. ``follow`` says what another loader comes to."""

    def __init__(self, files: NamedFiles, follow: FollowLoader) -> None:
        self._files, self._follow = files, follow
        self._count = 0

    def begin(self) -> None:
        """A new question: what is looked at for one is limited."""
        self._count = 0

    def outcome(self, stanza: Stanza, home: Home, volume: Volume, settings: File) -> Outcome:
        """``volume`` and ``settings`` are where the entry is written down."""
        found = _Findings()
        hands_options = bool(stanza.roots) or any(one.role is Role.INITRD for one in stanza.targets)
        for target in stanza.targets:
            self._count += 1
            if self._count > _MOST_NAMED:
                found.named.append(Named(Fate.UNKNOWN, "names more files than are followed"))
                break
            named = self._files.find(target, volume, folder_of(settings.path))
            if target.role is Role.PROGRAM and not hands_options:
                self._program(found, stanza, target, named, home, settings)
            else:
                found.add(named)
                found.kernels += target.role in _STARTED and named.fate is Fate.SOUND
                found.initrds += target.role is Role.INITRD and named.fate is Fate.SOUND
            found.is_shown &= target.role not in _STARTED or named.file is not None
        found.named += [self._files.root(name) for name in stanza.roots]
        if not stanza.targets:
            found.named += [self._files.place(name) for name in stanza.places]
        return _outcome(found, stanza.title)

    def of_named(self, named: Named, title: str) -> Outcome:
        """Of something named alone that isn't sound."""
        return Outcome(_STARTS.get(named.fate, True), named.why, title)

    def _program(
        self, found: _Findings, stanza: Stanza, target: Target, named: Named, home: Home, settings: File
    ) -> None:
        """A program that is started: a kernel with all that belongs to it, or another loader."""
        found.add(named)
        if named.fate is Fate.IGNORED:
            return
        if named.volume and named.file and is_unified(named.file):
            found.kernels += named.fate is Fate.SOUND
            cmdline = named.file.program.cmdline if named.file.program else ""
            found.named += [self._files.root(name) for name in roots_in(words_of(cmdline))]
            return
        found.leads.append(_lead(stanza, target, named, settings))
        if named.fate is Fate.SOUND and named.volume and named.file:
            found.depth = self._follow(named.volume, named.file)
            found.stays_home = home.holds(named.volume, named.file)
            found.uses += found.depth.uses


def _lead(stanza: Stanza, target: Target, named: Named, settings: File) -> Lead:
    is_there = {Fate.SOUND: True, Fate.BROKEN: False}.get(named.fate)
    return Lead(
        named.volume.identity if named.volume else "",
        named.file.path if named.file else target.path,
        stanza.title,
        settings.path,
        is_there,
    )


def _outcome(found: _Findings, title: str) -> Outcome:
    starts, why, reach = _verdict(found)
    is_own = not found.leads or found.stays_home or found.kernels > 0
    return Outcome(
        starts,
        why,
        title,
        reach,
        leads=tuple(found.leads),
        uses=tuple(found.uses),
        is_own=is_own,
        is_shown=found.is_shown,
    )


def _verdict(found: _Findings) -> tuple[bool | None, str, Reach]:
    worst, depth = found.worst, found.depth
    if worst:
        return _STARTS[worst.fate], worst.why, Reach.LOADER
    if found.kernels:
        initrd = " and an initrd that are" if found.initrds else " that is"
        return True, f"leads to a kernel{initrd} there and whole", Reach.KERNEL
    if depth:
        return depth.starts, f"leads to {found.leads[-1].path}: {depth.why}", depth.followed_to
    return True, "names nothing that is missing", Reach.LOADER
