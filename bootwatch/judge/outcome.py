"""What becomes of one entry of a start menu, and what a whole menu comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from bootwatch.judge.ground import Place
from bootwatch.judge.reach import Depth, Lead, Reach


@dataclass(frozen=True)
class Outcome:
    """One entry. ``starts`` None: it can't be told. ``why`` goes on after "its start menu".

    ``is_own`` False: it only leads to another loader, which is another system's as far as can be told.
    ``id`` is what settings may call the entry, besides its title. ``is_shown`` False: its kernel is missing.
    """

    starts: bool | None
    why: str = ""
    title: str = ""
    reach: Reach = Reach.LOADER
    leads: tuple[Lead, ...] = ()
    uses: tuple[Place, ...] = ()
    is_own: bool = True
    id: str = ""
    is_shown: bool = True

    def of_entry(self, id: str) -> Outcome:
        return replace(self, id=id)


@dataclass(frozen=True)
class Outcomes:
    """A menu's, in its order. ``default`` is the place of the one that starts by itself, None where that
    isn't known. ``uses`` are files that all of them need.
    """

    all: tuple[Outcome, ...]
    default: int | None = 0
    uses: tuple[Place, ...] = ()

    def depth(self) -> Depth:
        """What the loader comes to."""
        own = [one for one in self.all if one.is_own] or list(self.all)
        first = self._first(own)
        leads = tuple(dict.fromkeys(lead for one in self.all for lead in one.leads))
        sound = [one for one in own if one.starts]
        by_itself = first.starts if first else _all_alike(own)
        shown = first if first and (first.starts or not sound) else (sound or own)[0]
        uses = tuple(dict.fromkeys((*self.uses, *shown.uses)))
        if sound:
            return Depth(shown.reach, True, _of_sound(own, sound, shown), leads, uses, by_itself)
        doubtful = [one for one in own if one.starts is None]
        worst = (doubtful or [shown])[0]
        return Depth(worst.reach, None if doubtful else False, _said(worst, own), leads, uses)

    def _first(self, own: Sequence[Outcome]) -> Outcome | None:
        """What the loader starts by itself."""
        if len(own) == 1:
            return own[0]
        if self.default is None or self.default >= len(self.all):
            return None
        chosen = self.all[self.default]
        return chosen if chosen in own else None


def _all_alike(own: Sequence[Outcome]) -> bool | None:
    """Whether whichever starts by itself does start."""
    found = {one.starts for one in own}
    return found.pop() if len(found) == 1 else None


def _said(one: Outcome, own: Sequence[Outcome]) -> str:
    if len(own) == 1 or not one.title:
        return f"its start menu {one.why}"
    return f'the entry "{one.title}" of its start menu {one.why}'


def _of_sound(own: Sequence[Outcome], sound: Sequence[Outcome], shown: Outcome) -> str:
    broken = [one for one in own if one.starts is not True]
    if len(own) == 1 or not broken:
        return f"its start menu {shown.why}" if len(own) == 1 or not _is_alike(own) else _together(own, shown)
    return f"{len(sound)} of the {len(own)} entries of its start menu are sound; {_said(broken[0], own)}"


def _is_alike(own: Sequence[Outcome]) -> bool:
    return all(one.reach is own[0].reach for one in own)


def _together(own: Sequence[Outcome], shown: Outcome) -> str:
    if shown.reach is Reach.KERNEL:
        return f"all {len(own)} entries of its start menu lead to kernels that are there and whole"
    return f"its start menu {shown.why}"
