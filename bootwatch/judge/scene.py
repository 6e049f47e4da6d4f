"""One snapshot with all that was learnt of it: what findings are told from."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.judge.outlook import Outlook
from bootwatch.judge.systems import Systems
from bootwatch.model.gap import Gap
from bootwatch.model.past import NO_PAST, Past
from bootwatch.model.snapshot import Circumstance, Snapshot, State


@dataclass(frozen=True)
class Scene:
    """``outlook`` is that of the usual state: what was asked for once, by BootNext, left out.
    ``known_before`` are the names of the systems that the baseline knows a way to."""

    snapshot: Snapshot
    systems: Systems
    outlook: Outlook
    past: Past = NO_PAST
    known_before: frozenset[str] = frozenset()

    @property
    def state(self) -> State:
        return self.snapshot.state

    @property
    def gaps(self) -> tuple[Gap, ...]:
        return self.snapshot.gaps

    @property
    def circumstance(self) -> Circumstance:
        return self.snapshot.circumstance
