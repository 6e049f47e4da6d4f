"""One machine on which losses are rehearsed: the outlook on it, now and after something happened to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from bootwatch.judge.ground import Place
from bootwatch.judge.outlook import Outlook, outlook
from bootwatch.judge.steps import By
from bootwatch.judge.systems import System, Systems
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State

Owners = Mapping[Place, System]


@dataclass(frozen=True)
class OwnedSystems(Systems):
    """The same systems, but for files that a rehearsal gave to one of them."""

    owners: Owners = field(default_factory=dict)

    def system_of_file(self, volume: str, path: str, state: State | None = None) -> System | None:
        own = self.owners.get((volume, fold(path)))
        return own or super().system_of_file(volume, path, state)


@dataclass(frozen=True)
class Stage:
    """``systems`` stay the same whatever is lost: so one that was there before can be said to be missing.

    ``is_cut``: entries were left out that lead to what no other one leads to, so that what is not found may
    be there all the same.
    """

    gaps: tuple[Gap, ...]
    systems: Systems
    is_cut: bool = False

    def look(self, state: State, owners: Owners) -> Outlook:
        """The outlook on a state. ``owners`` says whose files are that were another's, or weren't there, in
        the states that systems were learnt from."""
        systems = OwnedSystems(**vars(self.systems), owners=owners) if owners else self.systems
        seen = outlook(state, self.gaps, systems)
        return _doubted(seen) if self.is_cut else seen


def _doubted(seen: Outlook) -> Outlook:
    """Only what starts through the boot order is certain: its first entries are never left out."""
    startup = seen.startup
    if startup.next_start.by is not By.ORDER:
        startup = replace(startup, next_start=replace(startup.next_start, certain=False))
    systems = tuple(replace(one, may_be_hidden=True) for one in seen.systems)
    return replace(seen, startup=startup, systems=systems)
