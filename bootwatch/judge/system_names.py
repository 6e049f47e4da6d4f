"""What a system is called. In order of trust: the settings, the label of an entry, the version resource of a
loader, the os-release in a unified kernel image, that of the running system, the folder's name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bootwatch.judge.glance import Glance
from bootwatch.judge.home import Home
from bootwatch.judge.likeness import cleaned, distinct
from bootwatch.judge.naming import Naming
from bootwatch.judge.system import System
from bootwatch.model.path import fold

_MOST_NAMES = 8
_SHORT = 12  # of an identity: its kind and eight digits


def given_names(home: Home) -> Iterator[str]:
    """By what the settings can name a home, the most exact first."""
    yield f"{home.volume}{home.folder}{home.part}"
    yield f"{home.volume}{home.folder}"
    yield home.volume
    if home.folder:
        yield home.folder
        yield home.folder_name
    yield from home.ranked_labels()
    yield from _program_names(home)


def _program_names(home: Home) -> Iterator[str]:
    """By the first loader that says something."""
    for kinds in (("product", "description"), ("os",)):
        name = next(home.own_names(*kinds), "")
        if cleaned(name):
            yield name


class SystemNames:
    """Gives each system a name that no other one has."""

    def __init__(self, glances: list[Glance], naming: Naming, running: list[Home] | None) -> None:
        self._glances, self._naming, self._running = glances, naming, running
        self._taken: dict[str, Home] = {}

    def system(self, group: list[Home], identities: dict[str, list[str]]) -> System:
        """The system that lies in the homes of ``group``. ``identities`` are all those of a volume."""
        given = self.given(group)
        names = distinct([given or "", *self._names(group)])
        name = names[0] if names else self._default_name(group[0])
        unique = self._unique(name, group[0])
        places = [
            (identity, home) for home in group for identity in identities.get(home.volume, [home.volume])
        ]
        return System(
            key=f"name:{fold(given)}" if given else group[0].key,
            name=unique,
            also=tuple(names[1:_MOST_NAMES]),
            hidden=self._naming.hides(name) or self._naming.hides(unique),
            removable=all(home.removable for home in group),
            volumes=tuple(dict.fromkeys(identity for identity, _ in places)),
            folders=tuple(
                dict.fromkeys(
                    [
                        *((identity, home.spelled) for identity, home in places if home.folder),
                        *(copy for home in group for copy in home.copies),
                    ]
                )
            ),
        )

    def given(self, group: list[Home]) -> str | None:
        """The name that the settings give it."""
        exact = (name for home in group for name in given_names(home))
        return self._naming.first((*exact, *self._names(group))) if self._naming.names else None

    def _names(self, group: list[Home]) -> list[str]:
        """All names, the most trusted first. The label of an entry that leads to a stick's default file is
        mostly the firmware's own words."""
        labels = _labels(home for home in group if not home.is_default)
        default_labels = _labels(home for home in group if home.is_default)
        said = [*(name for home in group for name in _program_names(home)), *self._release(group)]
        folders = [home.folder_name for home in group]
        if not group[0].removable:
            return [*labels, *default_labels, *said, *folders]
        sticks = [self._volume_label(home.volume) for home in group]
        return [*labels, *said, *sticks, *default_labels, *folders]

    def _release(self, group: list[Home]) -> list[str]:
        if group is not self._running:
            return []
        release = self._glances[-1].os_release
        return [release.get("pretty_name", ""), release.get("name", "")]

    def _volume_label(self, volume: str) -> str:
        found = (one.label for glance in self._glances for one in glance.volumes.get(volume, ()))
        return next((cleaned(label) for label in found if cleaned(label)), "")

    def _default_name(self, home: Home) -> str:
        label = self._volume_label(home.volume)
        return f'the default file on "{label}"' if label else f"the default file on {home.volume[:_SHORT]}"

    def _unique(self, name: str, home: Home) -> str:
        """With what tells it from the first system of the same name: its volume, or its folder there."""
        first = self._taken.get(fold(name))
        hints: list[str] = []
        if first and first.volume != home.volume:
            label = self._volume_label(home.volume)
            hints = ["" if label == self._volume_label(first.volume) else label, home.volume[:_SHORT]]
        elif first:
            hints = [home.folder_name]
        tried = (name, *(f"{name} ({hint})" for hint in (*hints, home.key) if hint))
        unique = next((one for one in tried if fold(one) not in self._taken), tried[-1])
        self._taken[fold(unique)] = home
        return unique


def _labels(homes: Iterable[Home]) -> list[str]:
    """The labels of entries that lead there: the baseline's first, then as the boot order has them."""
    ranked = sorted((rank, label) for home in homes for label, rank in home.labels.items())
    return [label for _, label in ranked]
