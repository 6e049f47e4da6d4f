"""What a system is called. In order of trust: the settings, the label of an entry, that in the list beside
its loaders, a loader's vendor (SBAT), its version resource, the os-release in a unified kernel image, that of
the running system, the folder's name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bootwatch.judge.glance import UNPLACED, Glance
from bootwatch.judge.home import Home
from bootwatch.judge.likeness import cleaned, distinct
from bootwatch.judge.listed import listed
from bootwatch.judge.naming import Naming
from bootwatch.judge.system import System
from bootwatch.model.path import fold

_MOST_NAMES = 8
_SHORT = 12  # of an identity: its kind and eight digits


def given_names(home: Home) -> Iterator[str]:
    """By what the settings can name a home, the most exact first; as it was first known."""
    yield f"{home.volume}{home.folder}{home.part}"
    yield f"{home.volume}{home.folder}"
    yield home.volume
    if home.folder:
        yield home.folder
        yield home.folder_name
    yield from (label for _, label in home.ranked_labels(home.born))
    yield from _program_names(home, home.born)


def _program_names(home: Home, last: int) -> Iterator[str]:
    """By the first loader that says something."""
    for kinds in (("vendor",), ("product", "description"), ("os",)):
        name = next(home.own_names(last, *kinds), "")
        if cleaned(name):
            yield name


class SystemNames:
    """Gives each system a name that no other one has: the best that was known when it was first seen."""

    def __init__(self, glances: list[Glance], naming: Naming, running: list[Home] | None) -> None:
        self._glances, self._naming, self._running = glances, naming, running
        self._taken: dict[str, Home] = {}

    def system(self, group: list[Home], identities: dict[str, list[str]]) -> System:
        """The system that lies in the homes of ``group``. ``identities`` are all those of a volume."""
        first, last = group[0].born, len(self._glances) - 1
        given = self._given(group)
        natural = distinct(self._names(group, first)) or [self._default_name(group[0])]
        names = distinct([given or "", *natural, *self._names(group, last)])
        unique = self._unique(names[0], group[0])
        places = [
            (one, home)
            for home in group
            if not home.volume.startswith(UNPLACED)
            for one in identities.get(home.volume, [home.volume])
        ]
        folders = [(identity, home.spelled) for identity, home in places if home.folder]
        return System(
            key=f"name:{fold(given)}" if given else group[0].key,
            name=unique,
            also=tuple(names[1:_MOST_NAMES]),
            hidden=self._naming.hides(names[0]) or self._naming.hides(unique),
            removable=all(home.removable for home in group),
            volumes=tuple(dict.fromkeys(identity for identity, _ in places)),
            folders=tuple(dict.fromkeys([*folders, *(copy for home in group for copy in home.copies)])),
        )

    def given(self, home: Home) -> str | None:
        """The name that the settings give it."""
        if not self._naming.names:
            return None
        return self._naming.first((*given_names(home), *self._names([home], home.born)))

    def _given(self, group: list[Home]) -> str | None:
        """The name that the settings give one of its places that were known first."""
        names = (self.given(home) for home in group if home.born == group[0].born)
        return next((name for name in names if name), None)

    def _names(self, group: list[Home], last: int) -> list[str]:
        """All names known by the state ``last``, the most trusted first. The label of an entry that leads to
        a stick's default file is mostly the firmware's own words."""
        known = [home for home in group if home.born <= last]
        labels = _labels((home for home in known if not home.is_default), last)
        default_labels = _labels((home for home in known if home.is_default), last)
        said = [name for home in known for name in self._listed(home, last)]
        said += [name for home in known for name in _program_names(home, last)]
        said += self._release(group, last)
        folders = [home.folder_name for home in known]
        if not group[0].removable:
            return [*labels, *default_labels, *said, *folders]
        sticks = [self._volume_label(home.volume, last) for home in known]
        return [*labels, *said, *sticks, *default_labels, *folders]

    def _release(self, group: list[Home], last: int) -> list[str]:
        """The name without its release first: an upgrade makes no other system of it."""
        if group is not self._running:
            return []
        release = self._glances[last].os_release
        return [release.get("name", ""), release.get("pretty_name", "")]

    def _listed(self, home: Home, last: int) -> Iterator[str]:
        """The labels in the list beside its loaders."""
        for glance in self._glances[: last + 1] if home.folder and not home.part else ():
            for volume in glance.volumes.get(home.volume, ()):
                yield from (row.label for row in listed(glance.state, volume, home.spelled))

    def _volume_label(self, volume: str, last: int) -> str:
        glances = self._glances[: last + 1]
        found = (cleaned(one.label) for glance in glances for one in glance.volumes.get(volume, ()))
        return next((label for label in found if label), "")

    def _default_name(self, home: Home) -> str:
        label = self._volume_label(home.volume, home.born)
        return f'the default file on "{label}"' if label else f"the default file on {home.volume[:_SHORT]}"

    def _unique(self, name: str, home: Home) -> str:
        """With what tells it from the first system of the same name: its volume, or its folder there."""
        first = self._taken.get(fold(name))
        hints: list[str] = []
        if first and first.volume != home.volume:
            label = self._volume_label(home.volume, home.born)
            is_other = label != self._volume_label(first.volume, home.born)
            hints = [label if is_other else "", home.volume[:_SHORT]]
        elif first:
            hints = [home.folder_name]
        tried = (name, *(f"{name} ({hint})" for hint in (*hints, home.key) if hint))
        unique = next((one for one in tried if fold(one) not in self._taken), tried[-1])
        self._taken[fold(unique)] = home
        return unique


def _labels(homes: Iterable[Home], last: int) -> list[str]:
    """The labels of entries that lead there: the baseline's first, then as the boot order has them."""
    return [label for _, label in sorted(ranked for home in homes for ranked in home.ranked_labels(last))]
