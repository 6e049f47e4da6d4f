"""Which system runs now."""

from __future__ import annotations

from bootwatch.judge.glance import Glance
from bootwatch.judge.home import Home
from bootwatch.judge.likeness import alike, words
from bootwatch.model.path import fold
from bootwatch.model.snapshot import Circumstance

Group = list[Home]
# With more systems than these their names are not compared with that of the running one.
_MOST = 256


def running_group(glances: list[Glance], groups: list[Group], now: Circumstance | None) -> Group | None:
    """The group of the system that runs; None where it can't be told.

    What the system calls itself (os-release) counts most: it may have been started through the menu of
    another one. Where that leaves a choice, BootCurrent and the volume that the boot loader names decide.
    """
    if not glances:
        return None
    glance = glances[-1]
    named = _by_name(glance, groups)
    candidates = named or groups
    volume = _loader_volume(glance, now)
    by_entry = _by_entry(glance, groups, now)
    if by_entry and by_entry in candidates and (volume is None or _is_on(by_entry, volume)):
        return by_entry
    if volume is not None:
        candidates = [group for group in candidates if _is_on(group, volume)] or named
    elif not named:
        return None
    oldest = min((group[0].born for group in candidates), default=0)
    candidates = [group for group in candidates if group[0].born == oldest]
    return candidates[0] if len(candidates) == 1 else None


def _by_name(glance: Glance, groups: list[Group]) -> list[Group]:
    """The groups that go by the running system's id; else those that go by its name."""
    own = fold(glance.os_id)
    if own:
        found = [group for group in groups if any(_has_id(home, own, glance.number) for home in group)]
        if found:
            return found
    release = glance.os_release
    names = [words(release.get(name, "")) for name in ("name", "pretty_name")]
    if len(groups) > _MOST:
        return []
    return [
        group
        for group in groups
        if any(alike(one, name) for home in group for one in home.likenesses for name in names)
    ]


def _has_id(home: Home, own: str, last: int) -> bool:
    return fold(home.folder_name) == own or own in map(fold, home.own_names(last, "os_id"))


def _by_entry(glance: Glance, groups: list[Group], now: Circumstance | None) -> Group | None:
    number = now.current_entry if now else None
    entry = next((entry for entry in glance.entries if entry.number == number), None)
    if entry is None or entry.file is None:
        return None
    volume, folded = glance.place_of(entry), fold(entry.file)
    found = [group for group in groups if any(_is_reached(home, volume, folded) for home in group)]
    return found[0] if len(found) == 1 else None


def _is_reached(home: Home, volume: str, folded: str) -> bool:
    return home.volume == volume and folded in home.reached


def _is_on(group: Group, volume: str) -> bool:
    return any(home.volume == volume for home in group)


def _loader_volume(glance: Glance, now: Circumstance | None) -> str | None:
    """The volume that the boot loader says it was started from."""
    text = now.loader_partition if now else ""
    return glance.canonical(f"gpt:{text}") if text else None
